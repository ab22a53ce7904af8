package sweep

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sort"

	"tramd/sweep/sine"
)

// SourceSteady is the angle source of a spindle that turns at a constant speed and says only now and then where it is.
const SourceSteady = "steady"

// Steady describes constant turning. Points with a known angle are its marks: index pulses, or one start mark. All
// other readings have no angle of their own.
//
// Of several pulses a turn one is the start mark, at MarkDeg; the others come with an angle half a step beyond
// (PulseAngle), which says no more than that they are not it. Without a word of its own the first pulse of a run is the
// start mark.
type Steady struct {
	MarkDeg     float64 `json:"mark_deg"`                // spindle angle at the start mark
	Clockwise   bool    `json:"clockwise,omitempty"`     // seen from above
	TurnsPerMin float64 `json:"turns_per_min,omitempty"` // roughly; needed where there is one mark only
	Pulses      int     `json:"pulses,omitempty"`        // index pulses a turn; 0 and 1: one
	Marked      bool    `json:"marked,omitempty"`        // one of them says that it is the start mark
}

// several reports whether there is more than one pulse a turn.
func (o Steady) several() bool { return o.Pulses > 1 }

// PulseAngle is the angle that a pulse is kept with, in radians.
func (o Steady) PulseAngle(start bool) float64 {
	if start || !o.several() {
		return Radians(o.MarkDeg)
	}
	return Radians(o.MarkDeg + 180/float64(o.Pulses))
}

func (o Steady) isStart(angle float64) bool {
	return !o.several() || math.Abs(angle-o.PulseAngle(true)) < math.Abs(angle-o.PulseAngle(false))
}

// Turning is what the marks or the wave of the readings say of the turning.
type Turning struct {
	ByMarks bool    // else by the wave
	Omega   float64 // radians a second, never negative
	OmegaU  float64 // standard uncertainty
	AngleU  float64 // standard uncertainty of the angles as a whole, radians
	Turns   float64
	Uneven  float64 // largest difference between two turns' times, relative; by marks only
	Missed  int     // pulses that should have come and did not
}

// Limits of what can be called steady.
const (
	mostUneven    = 0.20 // between one turn and the next: more is not constant turning
	unevenShown   = 0.03
	fewestTurns   = 1.5 // by the wave: less cannot tell the frequency from a drift
	turnsForTrust = 5   // below this the frequency rests on little
	searchWide    = 0.25
	steadyPoints  = 6000 // for the search and the frequency, readings are joined to about this many
	markJitterS   = 0.002
)

// Codes of warnings.
const (
	WarnUnevenTurning = "uneven_turning"
	WarnFewTurns      = "few_turns"
	WarnMissedPulses  = "missed_pulses"
)

// Unroll gives each reading of a sweep by constant turning its angle. Setups with any other angle source, and files
// whose readings mostly have angles, are given back as they are with a nil Turning. Marks are taken out; readings that
// lie outside the marks of a turn keep an unknown angle.
func Unroll(pts []Point, setup Setup) ([]Point, *Turning, error) {
	if setup.AngleSource != SourceSteady {
		return pts, nil, nil
	}
	var o Steady
	if setup.Steady != nil {
		o = *setup.Steady
	}
	known := 0
	for _, p := range pts {
		if !math.IsNaN(p.Angle) {
			known++
		}
	}
	if known > len(pts)/2 {
		return pts, nil, nil
	}
	out := make([]Point, 0, len(pts))
	var marks []pulse
	for _, p := range pts {
		if !finite(p.T) || !finite(p.Reading) {
			return nil, nil, fmt.Errorf("a reading of %v mm at %v s is not a number", p.Reading, p.T)
		}
		if math.IsNaN(p.Angle) {
			out = append(out, p)
		} else {
			marks = append(marks, pulse{p.T, o.isStart(p.Angle)})
		}
	}
	slices.SortFunc(marks, func(a, b pulse) int { return cmp.Compare(a.t, b.t) })
	if len(out) == 0 {
		return out, nil, nil // the fit says what is missing
	}
	var turning *Turning
	var err error
	if len(marks) > 1 {
		turning, err = o.byMarks(out, marks)
	} else {
		mark := out[0].T // a file without a mark begins at it
		for _, p := range out {
			mark = min(mark, p.T)
		}
		if len(marks) == 1 {
			mark = marks[0].t
		}
		turning, err = o.byWave(out, mark)
	}
	return out, turning, err
}

func (o Steady) angle(turned float64) float64 {
	if o.Clockwise {
		turned = -turned
	}
	return Radians(o.MarkDeg) + turned
}

// sureOfSpeed is by how much the speed that was said may be off. Pulses that do not say which is the start mark are
// counted by it: one too many, or one too few, must stand out.
func (o Steady) sureOfSpeed() float64 {
	if o.several() && !o.Marked {
		return math.Min(searchWide, 0.5/float64(o.Pulses))
	}
	return searchWide
}

// pulse is a mark as it came.
type pulse struct {
	t     float64
	start bool
}

// byMarks interpolates between the marks, each a whole turn, or a known part of one, from the last.
func (o Steady) byMarks(pts []Point, marks []pulse) (*Turning, error) {
	times := make([]float64, len(marks))
	for i, m := range marks {
		times[i] = m.t
	}
	at, turns, err := wholeTurns(times, max(1, o.Pulses))
	if err != nil {
		return nil, err
	}
	missed := int(turns[len(turns)-1]) - (len(turns) - 1)
	if o.several() {
		if turns, err = o.parts(at, turns, marks); err != nil {
			return nil, err
		}
	}
	last := len(at) - 1
	if each := 60 * (turns[last] - turns[0]) / (at[last] - at[0]); o.TurnsPerMin > 0 &&
		math.Abs(each/o.TurnsPerMin-1) > o.sureOfSpeed() {
		return nil,
			fmt.Errorf(
				"by the index marks it makes %.3g turns a minute, but turns_per_min is %v: are marks missed, or is pulses_per_turn wrong?", each, o.TurnsPerMin)
	}
	span := turns[last] - turns[0]
	t := &Turning{ByMarks: true, Missed: missed, Turns: span, Omega: 2 * math.Pi * span / (at[last] - at[0])}
	var sum, n float64
	for i := 2; i <= last; i++ {
		a, b := (at[i-1]-at[i-2])/(turns[i-1]-turns[i-2]), (at[i]-at[i-1])/(turns[i]-turns[i-1])
		uneven := math.Abs(b-a) / ((a + b) / 2)
		t.Uneven = max(t.Uneven, uneven)
		sum, n = sum+uneven*uneven, n+1
	}
	if t.Uneven > mostUneven {
		return nil,
			fmt.Errorf(
				"one turn took %.0f %% longer than the next: that is not constant turning; let the drive run even and sweep again", 100*t.Uneven)
	}
	// A speed that changes by e from turn to turn bends the angle within one by up to e/8 of a turn, e/8*sqrt(8/15) in
	// the root of the mean square (a parabola).
	rms := 0.1 // one turn only shows nothing of it
	if n > 0 {
		rms = math.Sqrt(sum / n)
	}
	bend := rms / 8 * math.Sqrt(8.0/15) * 2 * math.Pi
	t.AngleU = math.Hypot(bend/math.Sqrt(math.Max(1, t.Turns)), t.Omega*markJitterS)
	t.OmegaU = t.Omega * math.Sqrt2 * markJitterS / (at[last] - at[0])
	for i := range pts {
		k, exact := slices.BinarySearch(at, pts[i].T)
		switch {
		case exact:
			pts[i].Angle = o.angle(2 * math.Pi * turns[k])
		case k > 0 && k <= last:
			f := (pts[i].T - at[k-1]) / (at[k] - at[k-1])
			pts[i].Angle = o.angle(2 * math.Pi * (turns[k-1] + f*(turns[k]-turns[k-1])))
		}
	}
	return t, nil
}

// mostMissed is how many marks in a row may be missed.
const mostMissed = 4

// wholeTurns finds which marks lie whole turns apart, and how many: one that was missed makes two turns, and one that
// came of a disturbance lies in between and is left out. The time of a turn is that gap between two marks which makes
// sense of the most of them.
func wholeTurns(marks []float64, pulses int) (at, turns []float64, err error) {
	var gaps []float64
	for i := 1; i < len(marks); i++ {
		for _, g := range []float64{marks[i] - marks[i-1], marks[i] - marks[max(0, i-2)]} {
			if g > 0 && len(gaps) < 400 {
				gaps = append(gaps, g)
			}
		}
		if g := (marks[i] - marks[max(0, i-pulses)]) / float64(pulses); pulses > 1 && i >= pulses && g > 0 &&
			len(gaps) < 400 {
			gaps = append(gaps, g)
		}
	}
	if len(gaps) == 0 {
		return nil, nil, fmt.Errorf("all index marks have the same time")
	}
	sort.Float64s(gaps)
	best := 0.0
	for i := len(gaps) - 1; i >= 0; i-- { // of two that do as well, the longer
		for first := range min(3, len(marks)-1) { // the first may be the false one
			a, n := chain(marks[first:], gaps[i], pulses)
			if score := float64(len(a)) - n[len(n)-1]/100; score > best+0.5 {
				at, turns, best = a, n, score
			}
		}
	}
	if len(at) < 2 || strays(marks, at) > max(1, len(at)/10) {
		return nil, nil, fmt.Errorf(
			"the %d index marks do not come at even times: look for bounce or pick-up on their line", len(marks))
	}
	return at, turns, nil
}

// strays counts the marks that were left out and are no bounce of one that was not: those lie within a tenth of a turn.
func strays(marks, at []float64) int {
	n := 0
	for _, m := range marks {
		k, exact := slices.BinarySearch(at, m)
		near := exact
		for _, i := range []int{k - 1, k} {
			if i >= 0 && i < len(at) {
				near = near || math.Abs(m-at[i]) < 0.1*(at[len(at)-1]-at[0])/float64(len(at)-1)
			}
		}
		if !near {
			n++
		}
	}
	return n
}

// chain follows the marks from the first on, each whole turns from the last that fitted; of several pulses in a turn,
// whole steps of the wheel.
func chain(marks []float64, turn float64, pulses int) (at, turns []float64) {
	near := 0.2
	if pulses > 1 {
		near = 0.3 // they sit where somebody put them
	}
	at, turns = []float64{marks[0]}, []float64{0}
	for _, m := range marks[1:] {
		ratio := (m - at[len(at)-1]) / turn
		whole := math.Round(ratio)
		if whole < 1 || whole > mostMissed+1 || math.Abs(ratio-whole) > near {
			continue
		}
		at, turns = append(at, m), append(turns, turns[len(turns)-1]+whole)
		turn += ((at[len(at)-1]-at[len(at)-2])/whole - turn) / float64(2*pulses) // the speed may wander
	}
	return at, turns
}

// byWave finds the speed from the once-a-turn wave of the readings themselves.
func (o Steady) byWave(pts []Point, mark float64) (*Turning, error) {
	if !(o.TurnsPerMin > 0) {
		return nil,
			fmt.Errorf("the speed is not known even roughly: write turns_per_min, or give an index mark once a turn")
	}
	rough := o.TurnsPerMin / 60 * 2 * math.Pi
	ts, xs := joined(pts)
	span := ts[len(ts)-1] - ts[0]
	middle := ts[0] + span/2
	for i := range ts { // far from the origin of time, the size of a wave and its frequency are hard to tell apart
		ts[i] -= middle
	}
	if turns := span * rough / (2 * math.Pi); turns < fewestTurns {
		return nil,
			fmt.Errorf(
				"%.1f turns at %v a minute: at least %v are needed to find the speed from the readings, and %d are better", turns, o.TurnsPerMin, fewestTurns, turnsForTrust)
	}
	low, high := rough*(1-searchWide), rough*(1+searchWide)
	begin, err := sine.Search(ts, xs, low, high, sine.Options{Drift: 1})
	if err != nil {
		return nil, err
	}
	orders := min(6, max(1, int(float64(len(ts))/(span*high/(2*math.Pi))/4)))
	w, err := sine.Fit(ts, xs, begin, sine.Options{Harmonics: orders, Drift: 1})
	if err != nil {
		return nil, fmt.Errorf("%w; with a spindle this true an index mark is needed", err)
	}
	grown := math.Sqrt(persistence(w.Residual))
	if amp, u := w.Amplitude(), grown*math.Hypot(w.SD[0], w.SD[1]); !(amp > 5*u) || w.Omega < low*0.99 ||
		w.Omega > high*1.01 {
		return nil,
			fmt.Errorf(
				"the readings show no wave at %v turns a minute that stands out of their scatter (%.4f mm): check turns_per_min; with a spindle this true an index mark is needed", o.TurnsPerMin, w.RMS())
	}
	t := &Turning{Omega: w.Omega, OmegaU: grown * w.SD[3], Turns: span * w.Omega / (2 * math.Pi)}
	// The angles run from the mark, so the error of the speed grows with the time since; about the middle of the sweep
	// it is what the lean feels of it.
	t.AngleU = math.Hypot(t.OmegaU*math.Abs(middle-mark), t.Omega*markJitterS)
	for i := range pts {
		pts[i].Angle = o.angle(t.Omega * (pts[i].T - mark))
	}
	return t, nil
}

// joined returns the readings of the first indicator in order, at most steadyPoints of them, neighbours averaged.
func joined(pts []Point) (ts, xs []float64) {
	which := pts[0].Indicator
	var mine []Point
	for _, p := range pts {
		if p.Indicator == which {
			mine = append(mine, p)
		}
	}
	slices.SortStableFunc(mine, func(a, b Point) int {
		switch {
		case a.T < b.T:
			return -1
		case a.T > b.T:
			return 1
		}
		return 0
	})
	each := (len(mine) + steadyPoints - 1) / steadyPoints
	for i := 0; i < len(mine); i += each {
		part := mine[i:min(i+each, len(mine))]
		var t, x float64
		for _, p := range part {
			t, x = t+(p.T-part[0].T), x+p.Reading
		}
		n := float64(len(part))
		ts, xs = append(ts, part[0].T+t/n), append(xs, x/n)
	}
	return ts, xs
}

// persistence is how many readings are worth one, by how long their scatter keeps its sign: one and twice the sum of
// the correlations, up to the first that is not above nothing.
func persistence(r []float64) float64 {
	v := 0.0
	for _, x := range r {
		v += x * x
	}
	if v == 0 {
		return 1
	}
	sum := 1.0
	for lag := 1; lag < len(r)/4; lag++ {
		c := 0.0
		for i := lag; i < len(r); i++ {
			c += r[i] * r[i-lag]
		}
		if c/v < 2/math.Sqrt(float64(len(r))) {
			break
		}
		sum += 2 * c / v
	}
	return sum
}

// WarnTurning adds to a result what its reader must know of the turning.
func (r *Result) WarnTurning(t *Turning) {
	switch {
	case t == nil:
	case t.ByMarks && t.Missed > 0 && t.Uneven <= unevenShown:
		r.Warnings = append(r.Warnings, Warning{Code: WarnMissedPulses, Text: fmt.Sprintf(
			"%d index pulses did not come where the others say they should have; look at the sensor's distance and its cable", t.Missed)})
	case t.ByMarks && t.Uneven > unevenShown:
		r.Warnings = append(r.Warnings, Warning{Code: WarnUnevenTurning, Text: fmt.Sprintf(
			"one turn took %.0f %% longer than the next; the angles within a turn are that much less certain",
			100*t.Uneven)})
	case !t.ByMarks && t.Turns < turnsForTrust:
		r.Warnings = append(r.Warnings, Warning{Code: WarnFewTurns, Text: fmt.Sprintf(
			"the speed was found from %.1f turns of the readings alone; %d or more, or an index mark, make the angles sure", t.Turns, turnsForTrust)})
	}
}
