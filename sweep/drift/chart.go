package drift

import "math"

// chart looks, at each check, for a step or a ramp that began at any earlier one. It keeps running sums, so that one
// candidate costs the same however long ago it began.
type chart struct {
	floor         float64 // variance that the scatter cannot be less than
	carry         scale   // of the scatter, from earlier segments
	fits          settles
	sums          []sums // sums[k] is over the first k checks
	t             []float64
	start, origin float64 // of t and y
}

// sums are weighted: w, w*y, w*t ... since the chart began; f are the settling curves.
type sums struct {
	w, y, yy, t, tt, ty float64
	f, ft               [settleCurves]float64
}

// settleCurves is how many of the bank's time constants the chart allows for: the quickest. What settles more slowly is a
// machine that moves, and slower curves would pass for a ramp or an early step.
const settleCurves = 2

// settles are the sums the settling curves need as totals only.
type settles struct {
	tau    [settleCurves]float64
	ff, fy [settleCurves]float64
}

func newChart(gap float64, carry scale) *chart {
	c := &chart{carry: carry, sums: make([]sums, 1, 64)}
	for i := range c.fits.tau {
		c.fits.tau[i] = tausInGaps[i] * gap
	}
	return c
}

func (c *chart) n() int { return len(c.t) }

// add takes in a check at t days: y in mm/m, w its weight.
func (c *chart) add(t, y, w float64) {
	if len(c.t) == 0 {
		c.start, c.origin = t, y
	}
	t, y = t-c.start, y-c.origin
	c.t = append(c.t, t)
	s := c.sums[len(c.sums)-1]
	s.w += w
	s.y += w * y
	s.yy += w * y * y
	s.t += w * t
	s.tt += w * t * t
	s.ty += w * t * y
	for i, tau := range c.fits.tau {
		if t > 30*tau { // settled to the last bit that matters
			continue
		}
		f := math.Exp(-t / tau)
		s.f[i] += w * f
		s.ft[i] += w * f * t
		c.fits.ff[i] += w * f * f
		c.fits.fy[i] += w * f * y
	}
	c.sums = append(c.sums, s)
}

// change is what a candidate would explain.
type change struct {
	ramp  bool
	from  int     // the first check that was touched
	gain  float64 // log of how much likelier than nothing, its size averaged over
	size  float64 // mm/m: the step, or what the ramp has come to by the last check
	rate  float64 // mm/m per day, of a ramp
	level float64 // before it
}

// finding is what one look at the chart gives.
type finding struct {
	evidence   float64 // of all candidates together, as a normal deviate
	step, ramp change
}

// What a change is taken to be before it is seen, in units of the scatter; what a ramp must
// overcome, since a step is the simpler tale; and what a lone check must, since one chip under the stylus makes it.
const (
	stepPrior  = 0.9
	rampPrior  = 1.8
	curvePrior = 6.0
	leastCurve = 1.5 // log of what a settling curve must gain
	rampCost   = 1.5
	loneCheck  = 1.5
	ignored    = 2.0 // a candidate with less to say is left out of the sum
	leastSeen  = 6   // checks before anything is said
	leastFree  = 3   // degrees of freedom of the scatter
	nearChecks = 32  // candidates this near are all looked at, those before ever more sparsely
)

// lead is by how much the ramp is the better name.
func (f finding) lead() float64 { return f.ramp.gain - f.step.gain }

// best is the better name of the two.
func (f finding) best() change {
	if f.lead() > 0 {
		return f.ramp
	}
	return f.step
}

// baseline is what is fitted when nothing happened: a level, and where it pays a settling curve.
type baseline struct {
	w      float64
	my     float64
	square float64 // of what is left, with what was carried
	dof    float64 // of that, the change itself taken off
	floor  float64 // of the square
	curve  int     // -1: none
	mf     float64
	ff, fy float64 // of the curve about its mean
}

// flat is the baseline without a curve.
func (c *chart) flat() baseline {
	n := len(c.t)
	s := &c.sums[n]
	b := baseline{w: s.w, my: s.y / s.w, curve: -1}
	b.square = max(0, s.yy-s.y*b.my) + c.carry.square
	b.dof = float64(n) - 2 + c.carry.dof
	b.floor = c.floor * b.dof
	b.square = math.Max(b.square, b.floor)
	return b
}

// settled is the baseline with the curve that pays best, and the log of what it gains; ok is false when none pays.
func (c *chart) settled(flat baseline) (b baseline, pays float64, ok bool) {
	pays = leastCurve
	s := &c.sums[len(c.t)]
	for i := range c.fits.tau {
		mf := s.f[i] / s.w
		ff := c.fits.ff[i] - s.f[i]*mf
		fy := c.fits.fy[i] - s.f[i]*flat.my
		if ff < 1e-6*s.w || flat.dof-1 < leastFree {
			continue
		}
		z2 := fy * fy / ff
		if g := flat.gain(z2, sq(curvePrior)*ff); g > pays {
			b, pays, ok = flat, g, true
			b.curve, b.mf, b.ff, b.fy = i, mf, ff, fy
			b.square = max(b.floor, b.square-z2)
			b.dof--
		}
	}
	return b, pays, ok
}

// gain is the log of the likelihood ratio of a regressor that explains z2 of the squares, its coefficient averaged over a
// normal prior of relative variance v.
func (b *baseline) gain(z2, v float64) float64 {
	rest := math.Max(b.square-z2, math.Max(b.floor, 1e-12*b.square))
	z := normalOfT(math.Sqrt(z2*b.dof/rest), b.dof)
	return 0.5*z*z*v/(1+v) - 0.5*math.Log1p(v)
}

// look compares all candidates. ok is false while there is too little to say.
func (c *chart) look() (finding, bool) {
	n := len(c.t)
	out := finding{step: change{gain: math.Inf(-1)}, ramp: change{gain: math.Inf(-1)}}
	if n < leastSeen {
		return out, false
	}
	flat := c.flat()
	if flat.dof < leastFree || flat.square <= 0 {
		return out, false
	}
	// Where the beginning looks like settling, a change must outdo that tale or come on top of it.
	settled, pays, ok := c.settled(flat)
	sum := 0.0
	if !ok {
		sum = c.scan(&flat, 0, &out)
	} else {
		sum = c.scan(&flat, pays, &out) + c.scan(&settled, 0, &out)
	}
	out.evidence = math.Sqrt(2 * math.Log1p(sum))
	return out, true
}

// scan tries every candidate against a baseline that itself explains pays more than the flat one does.
func (c *chart) scan(b *baseline, pays float64, out *finding) (sum float64) {
	n := len(c.t)
	least := 2 * ignored * b.square / b.dof // a candidate that explains less of the squares cannot matter
	for m := 1; m <= n-2; {
		k := n - m
		if num, den := c.step(b, k); num*num > least*den {
			g := b.gain(num*num/den, stepPrior*stepPrior*den) - pays
			if m == 1 {
				g -= loneCheck
			}
			if sum += weight(g); g > out.step.gain {
				size := num / den
				out.step = change{from: k, gain: g, size: size, level: c.origin + b.my - size*(b.w-c.sums[k].w)/b.w}
			}
		}
		if m >= 4 {
			sum += c.tryRamp(b, k, least, pays, out)
		}
		if m < nearChecks {
			m++
		} else {
			m += m / 7
		}
	}
	return sum + c.tryRamp(b, 1, least, pays, out) // from the very beginning: nothing flat before it
}

func (c *chart) tryRamp(b *baseline, k int, least, pays float64, out *finding) float64 {
	num, den, sg := c.ramp(b, k)
	if num*num <= least*den {
		return 0
	}
	span := c.t[len(c.t)-1] - c.t[k-1]
	g := b.gain(num*num/den, sq(rampPrior/span)*den) - pays - rampCost
	if g > out.ramp.gain {
		rate := num / den
		out.ramp = change{ramp: true, from: k - 1, gain: g, rate: rate, size: rate * span, level: c.origin + b.my - rate*sg/b.w}
	}
	return weight(g)
}

// weight is what a candidate adds to the evidence.
func weight(gain float64) float64 {
	if gain < ignored {
		return 0
	}
	return math.Exp(min(gain, 600))
}

// step regresses on a step before check k: the size is num/den, the squares it explains num*num/den. den is 0 where the
// step cannot be told from the baseline.
func (c *chart) step(b *baseline, k int) (num, den float64) {
	end, at := &c.sums[len(c.t)], &c.sums[k]
	gw := end.w - at.w
	num = end.y - at.y - gw*b.my
	den = gw * at.w / b.w
	if b.curve >= 0 {
		gf := end.f[b.curve] - at.f[b.curve] - gw*b.mf
		num -= gf * b.fy / b.ff
		rest := den - gf*gf/b.ff
		if rest < 1e-3*den {
			return 0, 0
		}
		den = rest
	}
	return num, den
}

// ramp regresses on an even movement since the check before k; sg is the ramp's weighted sum.
func (c *chart) ramp(b *baseline, k int) (num, den, sg float64) {
	end, at := &c.sums[len(c.t)], &c.sums[k]
	from := c.t[k-1]
	gw := end.w - at.w
	st := end.t - at.t
	sg = st - gw*from
	sgg := end.tt - at.tt - 2*from*st + gw*from*from
	den = sgg - sg*sg/b.w
	num = end.ty - at.ty - from*(end.y-at.y) - sg*b.my
	if den < 1e-9*sgg || !(sgg > 0) { // all at one instant, or too small beside what was summed
		return 0, 0, 0
	}
	if b.curve >= 0 {
		gf := end.ft[b.curve] - at.ft[b.curve] - from*(end.f[b.curve]-at.f[b.curve]) - sg*b.mf
		num -= gf * b.fy / b.ff
		rest := den - gf*gf/b.ff
		if rest < 1e-3*den {
			return 0, 0, 0
		}
		den = rest
	}
	return num, den, sg
}
