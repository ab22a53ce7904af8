package drift

import "math"

// Nearly all candidates of the chart have nothing to say, and what they would gain need not be worked out to know it.
// What follows are bounds, not approximations: whatever lies below them would have changed nothing.

// leastZ2 is the least square of a normal deviate that gains so much, whatever the prior of its cause: with v the
// relative variance of the prior, 2 gain = z2 v/(1+v) - log(1+v), which is largest where v = z2 - 1, and there v = 2
// gain + log(1+v).
func leastZ2(gain float64) float64 {
	v := 2 * gain
	for range 60 {
		v = 2*gain + math.Log1p(v)
	}
	return 1 + v
}

// A baseline that is less likely than the best by so much lifts these by twice that at least.
var (
	leastZ2OfStep  = min(leastZ2(ignored), 2*(ignored+math.Ln2)) // of a step of any size, and of one of just changeSize
	leastZ2OfRamp  = leastZ2(ignored + dearer)
	leastZ2OfCurve = leastZ2(dearer)
)

// spare is the room that a bound leaves for rounding.
const spare = 1e-6

// leastSquares is what of the squares must be explained at least for a normal deviate of this square, by the arithmetic
// of gain.
func (b *baseline) leastSquares(z2 float64) float64 {
	x := z2 / (sq((8*b.dof+1)/(8*b.dof+3)) * b.dof)
	part := x * (1 - x/2) // of the squares: 1 - exp(-x), which is no less
	if x > 0.2 {
		part = -math.Expm1(-x)
	}
	return part * b.square * (1 - spare)
}

// bars are what a candidate must explain of the squares.
type bars struct {
	step, ramp float64
	counted    struct{ step, ramp float64 } // for what goes into the evidence
	plain      bool                         // the baseline is a level alone
	w, my      float64                      // of the baseline
}

// newBars are the bars beside a baseline. Where names are wanted, the best candidate counts however little it says;
// until one is found that goes into the evidence, the bar lies lower.
func newBars(b *baseline, pays float64, names bool, out *finding) bars {
	all := 2 * ignored * b.square / b.dof
	x := bars{step: all, ramp: all, plain: !b.warm && b.curve < 0, w: b.w, my: b.my}
	x.counted.step = max(all, b.leastSquares(leastZ2OfStep+2*pays))
	x.counted.ramp = max(all, b.leastSquares(leastZ2OfRamp+2*pays))
	if !names {
		x.step, x.ramp = x.counted.step, x.counted.ramp
	}
	x.named(out)
	return x
}

// named lifts the bars where what is named goes into the evidence.
func (x *bars) named(out *finding) {
	if out.step.gain >= ignored {
		x.step = x.counted.step
	}
	if out.ramp.gain >= ignored {
		x.ramp = x.counted.ramp
	}
}

// hidesStep reports whether a step after a knot certainly stays below the bar; it is chart.step without its divisions.
func (x *bars) hidesStep(end, at *knot) bool {
	if !x.plain {
		return false
	}
	gw := end.w - at.w
	num := end.y - at.y - gw*x.my
	return num*num*x.w < (1-spare)*x.step*gw*at.w
}

// hidesRamp says it of a ramp since a knot; it is chart.ramp without its divisions.
func (x *bars) hidesRamp(end, at *knot) bool {
	if !x.plain {
		return false
	}
	from := at.last
	gw, st := end.w-at.w, end.t-at.t
	sg := st - gw*from
	sgg := end.tt - at.tt - 2*from*st + gw*from*from
	num := end.ty - at.ty - from*(end.y-at.y) - sg*x.my
	return num*num*x.w < (1-spare)*x.ramp*(sgg*x.w-sg*sg)
}
