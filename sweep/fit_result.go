package sweep

import (
	"fmt"
	"math"

	"tramd/sweep/units"
)

// result turns an estimate into what is said about the sweep.
func (t *tally) result(e estimate, g geometry, seen round) Result {
	dof := t.readings - e.params
	total, floor := 0.0, 0.0 // of the weights squared, and of the resolution's share
	for i, ind := range t.setup.Indicators {
		w := sq(t.weight[i]) * float64(t.count[i])
		total += w
		floor += w * sq(ind.ResolutionMM) / 12
	}
	n := float64(t.readings)
	floor /= n
	variance, rms := floor, math.NaN()
	if dof > 0 {
		scatter := e.rss / float64(dof)
		variance = max(scatter, floor)
		rms = math.Sqrt(scatter * n / total)
	}
	u := t.uncertainty(e, g, variance, dof)

	out := Result{
		Model: ModelPlain, ModelVersion: ModelPlainVersion,
		OffsetMM: e.offset, ClosureMM: t.closure(e), ResidualRMSMM: rms, FormPVMM: t.form(e, seen.distinct),
		Readings: t.readings, Rejected: t.rejected, Coverage: seen.coverage,
		CoverageFactor: u.factor, DoF: u.dof, Covariance: u.cov,
	}
	if g.x {
		out.Tilt = t.axis(0, e, u, rms)
	}
	if g.y {
		out.Nod = t.axis(1, e, u, rms)
	}
	if g.x && g.y {
		out.Lean = &Lean{Slope: units.Slope(math.Hypot(e.slope[0], e.slope[1])),
			Azimuth: Wrap(math.Atan2(e.slope[1], e.slope[0]))}
	}
	out.Verdict = JudgeBoth(out.Tilt, out.Nod, t.setup.Tolerance)
	out.Warnings = t.warnings(out, g, seen, dof, math.Sqrt(variance))
	if !t.setup.Zero.Known() {
		out.HideDirection(t.setup.Tolerance)
	}
	return out
}

func (t *tally) axis(a int, e estimate, u budget, rms float64) *Axis {
	std := math.Sqrt(u.cov[a][a])
	out := &Axis{Slope: units.Slope(e.slope[a]), U: units.Slope(std), Expanded: units.Slope(u.factor * std)}
	out.Verdict = Judge(out.Slope, out.Expanded, t.setup.Tolerance)
	if std == 0 && math.IsNaN(rms) &&
		t.setup.Tolerance.Given() { // not certain but unknown: nothing was repeated or stated
		out.Verdict = Undecided
	}
	return out
}

// Codes of warnings; they never change their meaning.
const (
	WarnAxisNotMeasured = "axis_not_measured"
	WarnNoRepeatability = "no_repeatability"
	WarnFewStations     = "few_stations"
	WarnGaps            = "gaps"
	WarnClosureLarge    = "closure_large"
	WarnUnknownAngle    = "unknown_angle"
	WarnSilentIndicator = "silent_indicator"
)

// Limits of warnings.
const (
	gapWorthAWord  = 20.0 // degrees
	fewStations    = 5    // below this the third harmonic of the surface goes straight into the lean
	closureScatter = 3.0  // standard deviations of the difference
)

func (t *tally) warnings(r Result, g geometry, seen round, dof int, scatter float64) []Warning {
	var out []Warning
	warn := func(code, format string, args ...any) {
		out = append(out, Warning{Code: code, Text: fmt.Sprintf(format, args...)})
	}
	switch {
	case !g.x:
		warn(WarnAxisNotMeasured,
			"tilt was not measured: two opposite stations show one axis only; add stations at 0 and 180 degrees%s",
			leakText(g, "tilt"))
	case !g.y:
		warn(WarnAxisNotMeasured,
			"nod was not measured: two opposite stations show one axis only; add stations at 90 and 270 degrees%s",
			leakText(g, "nod"))
	}
	if dof == 0 {
		warn(WarnNoRepeatability,
			"as many readings as unknowns: nothing shows how well they repeat, and the uncertainty rests on what "+
				"is stated of the indicator alone; take one more station or a second turn")
	}
	if n := seen.distinct; n < fewStations && g.x && g.y {
		warn(WarnFewStations, "%d stations cannot tell a surface that is not flat from lean; five or more can", n)
	}
	if m := seen.hole(); m.size > gapWorthAWord && g.x && g.y {
		warn(WarnGaps, "%.0f degrees of the circle were not seen, from %.0f to %.0f degrees",
			m.size, m.from, math.Mod(m.from+m.size, 360))
	}
	if c := math.Abs(r.ClosureMM); c > t.closureLimit(scatter) {
		warn(WarnClosureLarge,
			"the reading at the start angle changed by %.4f mm during the sweep, more than its scatter explains: "+
				"look for a loose arm, a warming spindle or a table that gives", r.ClosureMM)
	}
	if t.rejected > 0 {
		warn(WarnUnknownAngle, "%d readings were left out: their spindle angle is not known, or they are not numbers",
			t.rejected)
	}
	for i, n := range t.count {
		if n == 0 {
			warn(WarnSilentIndicator, "indicator %s gave no reading", indicatorLabel(t.setup, i))
		}
	}
	return out
}

// closureLimit is what scatter and resolution let a closure be by chance.
func (t *tally) closureLimit(scatter float64) float64 {
	var variance, step, n float64
	for i := range t.back {
		if b := &t.back[i]; b.known() {
			variance += 1/b.start.n + 1/b.visit.n
			step += t.setup.Indicators[i].ResolutionMM
			n++
		}
	}
	if n == 0 {
		return math.Inf(1)
	}
	return closureScatter*scatter*math.Sqrt(variance)/n + step/n
}

func leakText(g geometry, axis string) string {
	if g.leak < leakShown {
		return ""
	}
	return fmt.Sprintf("; the stations are not quite on the axis, so %.0f %% of the %s shows in the other",
		100*g.leak, axis)
}

func indicatorLabel(s Setup, i int) string {
	if name := s.Indicators[i].Name; name != "" {
		return name
	}
	return fmt.Sprintf("number %d", i+1)
}

func errTooManyIndicators(n int) error {
	return fmt.Errorf("%d indicators: one arm carries %d at most", n, maxIndicators)
}
