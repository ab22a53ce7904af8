package mixed

import (
	"fmt"
	"math"

	"tramd/sweep"
)

// Model names the full model in a result. Since version 6 the interval, its degrees of freedom, verdict and
// probabilities come from one weighted list of t distributions. Version 7 measures in display steps what it measured
// in millimetres, knows noise that two indicators share, and no longer counts hardly any slow noise several times
// over. Version 8 weighs dents, bumps, plates, small jumps and the effects of direction by one rule, and knows that a
// plunger may not have moved.
const (
	Model        = "full"
	ModelVersion = 8
)

// confidence is the share of cases in which the expanded interval is to hold the truth.
const confidence = 0.95

// Options is what is known beside the sweep itself. The zero value is fine.
type Options struct {
	// RepeatabilityMM is the standard deviation of one station's reading, pooled from earlier runs on this machine, and
	// RepeatabilityDoF the degrees of freedom behind it. Without them a weak general value stands in.
	RepeatabilityMM, RepeatabilityDoF float64

	// BothWays says that the sweep will go back the way it came. Until it does, play of the plunger and a delay of the
	// angles are taken to be there, as far as they may be, and not to be absent.
	BothWays bool

	// Unfinished says that more readings will come: what the part of a turn so far could not show is not taken to be
	// absent.
	Unfinished bool

	// Settled says that each reading was taken at rest, however quickly they follow each other.
	Settled bool

	// Pace, if given, is called now and then in a long fit; it may sleep, so that others come to their turn.
	Pace func()
}

// Fit fits the full model with nothing known beside the sweep.
func Fit(pts []sweep.Point, setup sweep.Setup) (sweep.Result, error) {
	return FitWith(pts, setup, Options{})
}

// FitWith fits the full model. It refuses, with what to do about it, a sweep that cannot show the lean; it warns by
// code where the result rests on little. Where 0 degrees is not known the result has a size and no direction.
func FitWith(pts []sweep.Point, setup sweep.Setup, opt Options) (sweep.Result, error) {
	_, r, err := fit(pts, setup, opt)
	return r, err
}

// fit returns the fitting too, for callers that go on from it. Its result has no direction where 0 is unknown; the
// fitting has both axes, turned by an unknown angle.
func fit(pts []sweep.Point, setup sweep.Setup, opt Options) (*fitting, sweep.Result, error) {
	known := setup.Zero.Known()
	if !known {
		setup.Zero = nil
	}
	f, r, err := fitAxes(pts, setup, opt)
	if err == nil && !known {
		r.HideDirection(setup.Tolerance)
	}
	return f, r, err
}

func fitAxes(pts []sweep.Point, setup sweep.Setup, opt Options) (*fitting, sweep.Result, error) {
	if bad(opt.RepeatabilityMM) || bad(opt.RepeatabilityDoF) || opt.RepeatabilityMM < 0 || opt.RepeatabilityDoF < 0 {
		return nil, sweep.Result{}, fmt.Errorf("repeatability %v mm with %v degrees of freedom: both must be 0 or more",
			opt.RepeatabilityMM, opt.RepeatabilityDoF)
	}
	pts, turning, err := sweep.Unroll(pts, setup)
	if err != nil {
		return nil, sweep.Result{}, err
	}
	in, err := check(pts, setup)
	if err != nil {
		return nil, sweep.Result{}, err
	}
	var shift sweep.TurnShift
	var shifted bool
	var repeat float64
	found := meanwhile(len(pts), func() { shift, shifted, repeat = sweep.FindTurnShift(pts, setup) })
	defer found()
	segs, st, groups := clean(in)
	base, err := in.plain()
	if err != nil {
		return nil, sweep.Result{}, err
	}
	found()
	f := fitting{in: in, segs: segs, start: st, groups: groups, opt: opt, turning: turning, repeat: repeat,
		axes: [2]bool{base.Tilt != nil, base.Nod != nil}}
	f.solve()
	f.weighEvenly()
	f.rms = f.scatter()
	r := f.result(base)
	r.WarnOrder(pts, setup)
	r.WarnTurning(turning)
	if shifted {
		r.Warnings = append(r.Warnings, shift.Warning())
	}
	return &f, r, nil
}

// plain fits what is left by least squares: it knows what the angles allow, the closure and the coverage.
func (in *input) plain() (sweep.Result, error) {
	p, err := sweep.NewLive(in.setup.Plainly()) // agrees with Plain at a third of the cost
	if err != nil {
		return sweep.Result{}, err
	}
	left := 0
	for k := range in.tracks {
		tr := &in.tracks[k]
		phase := sweep.Radians(in.setup.Indicators[tr.indicator].PhaseDeg)
		for i, w := range tr.why {
			if w != kept {
				left++
				continue
			}
			p.Add(sweep.Point{T: tr.t[i], Angle: tr.th[i] - phase, Reading: tr.z[i], Indicator: tr.indicator})
		}
	}
	r, err := p.Result()
	if err != nil && left > 0 {
		err = fmt.Errorf("%w (%d readings off the surface, stuck or doubled were left out first)", err, left)
	}
	return r, err
}

// General repeatability of a station set and read by eye, worth two readings (common practice, no source).
const (
	stationNoiseMM  = 0.0014
	sweepNoise      = 1.4 // display steps: the same, where there are more than a handful of blocks
	stationNoiseDoF = 3.0
	lineNoiseMM     = 0.0009
	lineNoiseDoF    = 2.0
	stationAngle    = 1.0  // degrees, by eye
	taggedAngle     = 0.05 // degrees, by an encoder
)

// prior is the repeatability of a typical block before the sweep speaks: pooled where runs are stored, otherwise a
// general value that fades as the sweep's own blocks grow many.
func (f *fitting) prior() repeatability {
	q2 := f.in.resolution * f.in.resolution / 12
	if f.opt.RepeatabilityDoF > 0 && f.opt.RepeatabilityMM > 0 {
		return repeatability{math.Sqrt(f.opt.RepeatabilityMM*f.opt.RepeatabilityMM + q2), f.opt.RepeatabilityDoF}
	}
	fade := math.Min(1, 12/float64(len(f.bs)))
	amp := math.Hypot(f.start.lean[0], f.start.lean[1])
	angle := amp * sweep.Radians(stationAngle)
	noise, dof := stationNoiseMM, stationNoiseDoF
	if f.in.basis.line { // places along an edge are set against a scale or a stop, and no arm swings
		angle = 0
		noise, dof = lineNoiseMM, lineNoiseDoF*fade*fade // what fades says less, too, or it would hold the noise down
	}
	if len(f.bs) >= denseSegments {
		noise = sweepNoise * f.in.step()
	}
	v := (noise*noise+angle*angle/2)*fade*fade*fade + q2*fade
	return repeatability{math.Sqrt(v), dof}
}

func (f *fitting) result(base sweep.Result) sweep.Result {
	r := base
	r.Model, r.ModelVersion = Model, ModelVersion
	r.Readings, r.Rejections = base.Readings, f.in.rejections()
	r.Rejected = f.in.readings - base.Readings
	f.offsets(&r)
	f.conclude(&r)
	f.describe(&r)
	f.warn(&r)
	return r
}

func sq(x float64) float64 { return x * x }

// offsets gives each indicator's reading at zero lean, before any knock.
func (f *fitting) offsets(r *sweep.Result) {
	r.OffsetMM = append([]float64(nil), r.OffsetMM...)
	first := f.d.form + f.d.drift + f.d.extra
	done := map[int]bool{}
	for i := range f.bs {
		k := f.in.tracks[f.bs[i].track].indicator
		if !done[k] && k < len(r.OffsetMM) {
			done[k] = true
			r.OffsetMM[k] = f.d.zero + f.coef[first+f.bs[i].group]
		}
	}
}
