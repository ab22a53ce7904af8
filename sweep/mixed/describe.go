package mixed

import (
	"fmt"
	"math"

	"tramd/sweep"
)

// describe adds what else the circle tells: the form of the surface and the scatter about the fit.
func (f *fitting) describe(r *sweep.Result) {
	circle := f.widestCircle()
	coef := f.coef[circle*2*formOrders:]
	if len(f.bs) >= denseSegments {
		r.Form = append(harmonics(coef), f.tableWaves()...)
		low, high := math.Inf(1), math.Inf(-1)
		for i := range 360 {
			z := f.d.formAt(circle, f.coef, sweep.Radians(float64(i)))
			for _, h := range r.Form[formOrders:] {
				z += h.AmplitudeMM * math.Cos(float64(h.Order)*sweep.Radians(float64(i)-h.PhaseDeg))
			}
			low, high = math.Min(low, z), math.Max(high, z)
		}
		r.FormPVMM = high - low
	}
	r.ResidualRMSMM = f.rms
	r.Turns = f.turns()
	r.Waves = f.timeWaves()
}

// widestCircle is the circle on the surface whose form the result describes: that of the longest arm, whichever
// indicator is written first.
func (f *fitting) widestCircle() int {
	widest := 0
	for k := range f.in.tracks {
		if f.in.tracks[k].scale > f.in.tracks[widest].scale {
			widest = k
		}
	}
	return f.d.circles[widest]
}

// scatter is the root mean square of the kept readings about the fitted curve, the model's fixed unknowns taken off.
func (f *fitting) scatter() float64 {
	const cells = 1440
	curves := make([][]float64, len(f.in.tracks))
	first := f.d.form + f.d.drift + f.d.extra
	for k := range f.in.tracks {
		curves[k] = make([]float64, cells+1)
		for i := range curves[k] {
			th := float64(i) / cells * 2 * math.Pi
			curves[k][i] = f.d.zero + leanAt(f.coef, f.axes, f.in.tracks[k].scale, th) +
				f.d.formAt(f.d.circles[k], f.coef, th)
		}
	}
	t0, half := timeSpan(f.bs)
	var ss float64
	n := 0
	for i := range f.segs {
		g := &f.segs[i]
		if g.why != kept || g.n == 0 {
			continue
		}
		tr := &f.in.tracks[g.track]
		u := (g.t - t0) / half
		base := f.coef[first+g.group]
		for i, v := range legendre(u) {
			base += f.coef[f.d.form+i] * v
		}
		base += f.jumpsAt(g.track, g.t)
		for j := g.lo; j < g.hi; j++ {
			if tr.why[j] != kept {
				continue
			}
			turn := tr.th[j] / (2 * math.Pi)
			at := (turn - math.Floor(turn)) * cells
			c := min(int(at), cells-1)
			z := curves[g.track][c] + (at-float64(c))*(curves[g.track][c+1]-curves[g.track][c])
			ss += sq(tr.z[j] - base - z)
			n++
		}
	}
	if free := n - f.groups - f.d.lean; free > 0 {
		return math.Sqrt(ss / float64(free))
	}
	return math.NaN()
}

// Codes of warnings; they never change their meaning.
const (
	WarnAllEqual      = "all_equal"
	WarnTimeBackwards = "time_backwards"
	WarnNoTimes       = "no_times"
	WarnSteep         = "steep"
	WarnKnock         = "knock"
	WarnOffSurface    = "off_surface"
	WarnStuck         = "stuck"
	WarnEndOfTravel   = "end_of_travel"
	WarnMuchRejected  = "much_rejected"
	WarnStill         = "plunger_still" // the wave is so small that the plunger may not have followed it
	WarnDelay         = "delay"
	WarnHysteresis    = "hysteresis"
	WarnBorrowed      = "borrowed_repeatability"
	WarnAssumed       = "assumed_repeatability"
	WarnSteadyWave    = "steady_wave"
	WarnCoarse        = "coarse_steps"        // the readings step more coarsely than stated
	WarnUneven        = "weighting_disagrees" // the model's lean and that of all readings weighed alike
)

func (f *fitting) warn(r *sweep.Result) {
	add := func(code, format string, args ...any) {
		r.Warnings = append(r.Warnings, sweep.Warning{Code: code, Text: fmt.Sprintf(format, args...)})
	}
	count := map[string]int{}
	for _, x := range r.Rejections {
		count[x.Code] += x.Readings
	}
	if f.in.unknown > 0 {
		add(sweep.WarnUnknownAngle, "%d readings were left out: their spindle angle is not known", f.in.unknown)
	}
	if n := count["hollow"] + count["raised"]; n > 0 {
		add(WarnOffSurface, "readings left out as off the surface: %d (%d below: slots, holes; %d above: chips, burrs)",
			n, count["hollow"], count["raised"])
	}
	if n := count["stuck"]; n > 0 {
		add(
			WarnStuck,
			"%d readings were left out because the indicator stood still while the spindle turned: check that its plunger moves freely", n)
	}
	if n := count["end_of_travel"]; n > 0 {
		add(WarnEndOfTravel,
			"%d readings were left out at the end of the indicator's travel: set it nearer the middle and sweep again",
			n)
	}
	known := f.in.readings - f.in.unknown
	if out := known - r.Readings; known > 0 && float64(out) > 0.25*float64(known) {
		add(WarnMuchRejected,
			"%.0f %% of the readings were left out: look at the surface and the indicator, and sweep again",
			100*float64(out)/float64(known))
	}
	if n := f.knocks(); n > 0 {
		add(
			WarnKnock,
			"the reading jumped and stayed %d times, as when the stylus is knocked or a clamp slips: each part has its own offset; tighten the arm and sweep again", n)
	}
	if f.in.backwards {
		add(WarnTimeBackwards, "the times run backwards in places; the order of the readings was used instead")
	}
	if f.in.timeless {
		add(WarnNoTimes,
			"all times are equal: one second a reading was taken instead, so that what is slow cannot be judged; record the times")
	}
	if f.in.coarse[0] > 0 {
		add(
			WarnCoarse,
			"the readings go in steps of %.4g mm, where the setup says %.4g mm; the coarser was reckoned with: state it as the resolution", f.in.coarse[0], f.in.coarse[1])
	}
	for _, a := range []*sweep.Axis{r.Tilt, r.Nod} {
		if a != nil && math.Abs(a.Slope.MMPerM()) > steepMMPerM {
			add(WarnSteep, "a lean of more than %d mm/m: are the readings, and the radius, in mm?", steepMMPerM)
			break
		}
	}
	if f.allEqual() {
		add(WarnAllEqual,
			"all readings are equal: the indicator may be stuck or not touching; press its plunger and see it move")
		r.Verdict = undecided(r.Verdict)
		for _, a := range []*sweep.Axis{r.Tilt, r.Nod} {
			if a != nil {
				a.Verdict = undecided(a.Verdict)
			}
		}
	}
	f.warnDirections(add)
	for _, w := range r.Waves {
		add(WarnSteadyWave,
			"a steady wave of %.3g Hz (period %.3g s) and %.4f mm amplitude lies under the readings, as of a pump, a fan or a motor that runs; it was taken out: find it and stop it, or sweep more turns", w.Hertz, w.PeriodS, w.AmplitudeMM)
	}
	switch few := len(f.bs)-f.groups-f.d.lean < 5; {
	case f.opt.RepeatabilityDoF > 0 && f.opt.RepeatabilityMM > 0:
		add(WarnBorrowed,
			"the uncertainty uses a repeatability of %.4f mm pooled from earlier runs (%.0f degrees of freedom)",
			f.opt.RepeatabilityMM, f.opt.RepeatabilityDoF)
	case few:
		add(WarnAssumed, "too few stations to show their own repeatability: %.4f mm was assumed beside what they show",
			f.known.s)
	}
	f.warnUneven(add)
}

// A delay is reported where it is more than a few tenths of a degree and stands well above its standard uncertainty: a
// small lean tells little of when it was read.
const (
	lateMatters = 0.3  // degrees
	lateSure    = 2.0  // standard uncertainties
	lostMatters = 0.05 // probability that the plunger did not move
)

func (f *fitting) warnDirections(add func(code, format string, args ...any)) {
	if !f.both {
		return
	}
	if late, u, rate := f.late(); math.Abs(late) > math.Max(sweep.Radians(lateMatters), lateSure*u) {
		add(
			WarnDelay,
			"the angles are %.1f degrees late, by the two ways round (a delay of some %.0f ms at this speed, or lost motion); it was taken out",
			sweep.Degrees(late), 1000*late/math.Max(rate, 1e-9))
	}
	if f.lost > lostMatters {
		add(
			WarnStill,
			"the reading hardly moves: a plunger that sticks by a few steps of its display may hide a lean, and the interval reaches as far; "+
				"press the plunger in at each station or use a finer indicator")
	}
	if h := f.way.playMM; h > 2*f.in.step() {
		add(WarnHysteresis, "the indicator reads %.4f mm apart by the way its plunger moves; it was taken out", 2*h)
	}
}

func undecided(v sweep.Verdict) sweep.Verdict {
	if v == sweep.Within {
		return sweep.Undecided
	}
	return v
}

func (f *fitting) allEqual() bool {
	for k := range f.in.tracks {
		for _, z := range f.in.tracks[k].z {
			if z != f.in.tracks[k].z[0] {
				return false
			}
		}
	}
	return true
}

// knocks is how often the reading jumped and stayed: by the offset groups after the first of each track, and by the
// jumps that are parts.
func (f *fitting) knocks() (n int) {
	for i := 1; i < len(f.bs); i++ {
		if a, b := &f.bs[i-1], &f.bs[i]; a.track == b.track && a.group != b.group {
			n++
		}
	}
	for i := range f.parts {
		if f.parts[i].kind == jumps {
			n += len(f.parts[i].times)
		}
	}
	return n
}
