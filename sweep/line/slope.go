package line

import (
	"fmt"
	"math"

	"tramd/sweep"
	"tramd/sweep/mixed"
	"tramd/sweep/uncertainty"
	"tramd/sweep/units"
)

// Slope turns what the readings say of a slope over a length into an estimate with its budget. Other parts, in mm/m,
// are added.
func Slope(fit *mixed.LineFit, e mixed.Estimate, lengthMM float64, setup Setup, tol units.Tolerance,
	more ...uncertainty.Component) *sweep.Axis {
	perMM := 1000 / lengthMM
	own := e.Value * 1000
	b := uncertainty.Budget{{
		Name: "repeatability", Type: uncertainty.A, U: e.U * 1000, Unit: "mm/m", Sensitivity: 1, DoF: e.DoF,
		Note: "scatter and slow noise of the readings about the fit, and form that the positions cannot tell from slope",
	}}
	b = append(b, uncertainty.Component{
		Name: "resolution", Type: uncertainty.B, U: fit.ResolutionMM / math.Sqrt(12), Unit: "mm",
		Sensitivity: perMM * roundingShare(fit, e.Value*lengthMM), DoF: math.Inf(1),
		Note: "rectangular over one step, less what many steps and the noise of the readings average out",
	})
	if setup.EdgeMPEMM > 0 {
		b = append(b, uncertainty.Component{
			Name: "edge", Type: uncertainty.B, U: setup.EdgeMPEMM / math.Sqrt(3), Unit: "mm", Sensitivity: perMM,
			DoF:  math.Inf(1),
			Note: "permissible error of the edge, rectangular on the difference of its ends",
		})
	}
	b = append(b, fit.Parts(own, lengthMM)...)
	b = append(b, more...)
	other := b[1:].Combined()
	limit := tol.Limit.MMPerM()
	expanded, inside := e.Combine(1000, other, limit)
	a := &sweep.Axis{
		Slope: units.Slope(own) * units.MMPerM, U: units.Slope(b.Combined()) * units.MMPerM,
		Expanded: units.Slope(expanded) * units.MMPerM, Budget: b,
	}
	a.Verdict = sweep.Judge(a.Slope, a.Expanded, tol)
	if tol.Given() {
		a.Conformity = &inside
	}
	return a
}

// roundingShare is what share of the standard uncertainty of one rounded reading, q/sqrt(12), is left in the difference
// of the two ends. Places that were read one by one round each for itself, which their scatter holds, and the
// repeatability that few borrow. Readings along a slope of m steps are wrong by a wave of m periods, whose first
// harmonic, q/pi high, has a least-squares line that rises by 6/(pi m) of it (from the integral of x sin x); noise of
// standard deviation s leaves exp(-2 (pi s/q)^2) of it.
func roundingShare(fit *mixed.LineFit, rise float64) float64 {
	q := fit.ResolutionMM
	if q == 0 {
		return 0
	}
	if fit.Standing() {
		return 0
	}
	m := math.Max(math.Abs(rise)/q, 0.7) // a smaller slope may hide between two steps
	dither := 0.0
	if s := fit.ResidualRMSMM; !math.IsNaN(s) {
		dither = math.Max(0, s*s-q*q/9)
	}
	return math.Sqrt(12) * 6 / (math.Pi * math.Pi * m * math.Sqrt2) * math.Exp(-2*math.Pi*math.Pi*dither/(q*q))
}

// Codes of warnings of measurements along a line; those of a sweep keep their meaning.
const (
	WarnOneWay   = "one_way"         // read in one pass: drift looks like slope
	WarnTwice    = "position_twice"  // one position was read twice on end, others once
	WarnTwo      = "two_positions"   // nothing shows how straight it is
	WarnPoint    = "line_is_a_point" // one line of several has a single position
	WarnShort    = "short_line"      // one line is much shorter than the others
	WarnOneTurn  = "turned_once"     // the bar, square or edge was not turned
	WarnDisagree = "sides_disagree"
)

// Warnings says what the readings themselves give cause for.
func Warnings(fit *mixed.LineFit, rows int) []sweep.Warning {
	var out []sweep.Warning
	add := func(code, format string, args ...any) {
		out = append(out, sweep.Warning{Code: code, Text: fmt.Sprintf(format, args...)})
	}
	count := map[string]int{}
	for _, r := range fit.Rejections {
		count[r.Code] += r.Readings
	}
	if n := count["hollow"] + count["raised"]; n > 0 {
		add(mixed.WarnOffSurface,
			"readings left out as off the surface: %d (%d below: slots, holes; %d above: chips, burrs)", n,
			count["hollow"], count["raised"])
	}
	if n := count["stuck"]; n > 0 {
		add(mixed.WarnStuck,
			"%d readings were left out because the indicator stood still while it moved along: check that its plunger moves freely", n)
	}
	if n := count["end_of_travel"]; n > 0 {
		add(mixed.WarnEndOfTravel,
			"%d readings were left out at the end of the indicator's travel: set it nearer the middle and measure again", n)
	}
	if float64(fit.Rejected) > 0.25*float64(rows) {
		add(mixed.WarnMuchRejected,
			"%.0f %% of the readings were left out: look at the surface and the indicator, and measure again",
			100*float64(fit.Rejected)/float64(rows))
	}
	if fit.Knocks > 0 {
		add(mixed.WarnKnock,
			"the reading jumped and stayed %d times, as when the stylus is knocked or a clamp slips: each part has its own height; tighten and measure again", fit.Knocks)
	}
	if fit.Backwards {
		add(mixed.WarnTimeBackwards, "the times run backwards in places; the order of the readings was used instead")
	}
	if fit.Still {
		add(mixed.WarnNoTimes,
			"all times are equal: one second a reading was taken instead, so that what is slow cannot be judged; record the times")
	}
	if fit.CoarseMM[0] > 0 {
		add(mixed.WarnCoarse,
			"the readings go in steps of %.4g mm, where the setup says %.4g mm; the coarser was reckoned with: state it as the resolution", fit.CoarseMM[0], fit.CoarseMM[1])
	}
	if fit.BorrowedMM > 0 {
		add(mixed.WarnAssumed,
			"too few readings to show their own repeatability: %.4f mm was assumed beside what they show",
			fit.BorrowedMM)
	}
	if !fit.BothWays && !fit.ReadTwice() {
		add(
			WarnOneWay,
			"each position was read once: what drifts looks like slope then; read the first position again at the end, or go there and back")
	}
	return out
}
