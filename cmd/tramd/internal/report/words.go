package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"tramd/cmd/tramd/internal/display"
	"tramd/sweep/drift"
)

func number(x float64, digits int) string {
	if math.IsNaN(x) {
		return "–"
	}
	return strconv.FormatFloat(x, 'f', digits, 64)
}

func signed(x float64, digits int) string {
	if math.IsNaN(x) {
		return "–"
	}
	s := strconv.FormatFloat(math.Abs(x), 'f', digits, 64)
	switch {
	case strings.Trim(s, "0.") == "": // nothing has no sign
		return s
	case x < 0:
		return "−" + s
	}
	return "+" + s
}

// leans writes leans, worked out in mm/m, in a reader's units.
type leans struct{ units display.Units }

// number writes a lean with as many decimals as it needs where it has so many in mm/m.
func (l leans) number(mmPerM float64, digits int) string {
	return number(l.units.Scaled(mmPerM, digits))
}

func (l leans) signed(mmPerM float64, digits int) string {
	return signed(l.units.Scaled(mmPerM, digits))
}

// probability never says nought.
func probability(p float64) string {
	if p < 1e-4 {
		return "< 0.0001"
	}
	return number(p, 4)
}

// figure writes a number with so many digits at most.
func figure(x float64, digits int) string { return strconv.FormatFloat(x, 'g', digits, 64) }

// interval says a number of days as people do, rounded down: a reader never waits longer than was worked out.
func interval(days float64) string {
	switch {
	case math.IsNaN(days):
		return "–"
	case days <= 0:
		return "now"
	case days < 2:
		return unit(math.Floor(24*days), "hour")
	case days < 60:
		return unit(math.Floor(days), "day")
	}
	return fmt.Sprintf("%s (%.0f days)", unit(math.Floor(days/7), "week"), math.Floor(days))
}

func unit(n float64, word string) string {
	switch {
	case n < 1:
		return "less than an " + word
	case n == 1:
		return "1 " + word
	}
	return fmt.Sprintf("%.0f %ss", n, word)
}

func hours(h float64) string {
	if math.IsNaN(h) {
		return "–"
	}
	if h < 1 {
		return number(h, 1)
	}
	return fmt.Sprintf("%.0f", math.Floor(h))
}

// manual is the text for a machine's manual, a paragraph each.
func (r *Report) manual(own drift.Interval) []string {
	if math.IsNaN(own.Days) {
		return []string{fmt.Sprintf("No interval can be recommended for %s yet: %s.", r.Machine,
			r.Units.Words(own.Basis))}
	}
	every := "Check the squareness of the spindle to the table within " + interval(own.Days)
	if own.Days <= 0 {
		every = "Check the squareness of the spindle to the table before the machine is used again"
	}
	if !math.IsNaN(own.Hours) && own.Days > 0 {
		every += fmt.Sprintf(" or %s spindle hours of the last check, whichever comes first", hours(own.Hours))
	} else if own.Days > 0 {
		every += " of the last check"
	}
	every += ", and at once after a crash, an adjustment, a service or a move."
	n := len(r.Answer.Rows)
	warm := ""
	for i := range drift.Axes {
		if _, _, ok := r.Answer.PerKelvin(i); ok {
			warm = fmt.Sprintf("; levels are those at %s °C, and the date reckons with the swing of the temperature",
				number(r.Answer.AtC, 1))
		}
	}
	basis := fmt.Sprintf(
		"Basis: %d checks of %s from %s to %s against a tolerance of %s on either axis, and a reliability of %s %%; %s%s.",
		n, r.Machine, date(r.Answer.Rows[0].Time), date(r.Answer.Rows[n-1].Time), r.Tolerance,
		figure(100*r.Reliability, 4), r.Units.Words(own.Basis), warm)
	return []string{
		every,
		"Isolate the spindle's power before a hand or an arm is near it and make sure that it cannot be switched on; never run the spindle with an arm on it; " +
			"support a head before what holds it is loosened; keep clear of axes moved by a motor. Local safety rules and the machine's manual come first.",
		basis,
	}
}

// episode is one alarm from its beginning to its end.
type episode struct {
	Kind, Axis, Since, Said, Until string
	Size                           string // as last said
}

// mostEpisodes bounds the list; the latest are shown.
const mostEpisodes = 40

// episodes lists the alarms as they were said, day by day: when each was first said, what it was dated, when it was
// gone.
func (l leans) episodes(rows []drift.Row) []episode {
	type key struct {
		kind drift.AlarmKind
		axis string
	}
	open := map[key]int{}
	var out []episode
	for _, row := range rows {
		now := map[key]drift.Alarm{}
		for _, a := range row.Alarms {
			now[key{a.Kind, a.Axis}] = a
		}
		for _, axis := range drift.Axes {
			for _, kind := range drift.AlarmKinds() {
				k := key{kind, axis}
				a, on := now[k]
				at, was := open[k]
				switch {
				case on && !was:
					open[k] = len(out)
					out = append(out, episode{Kind: string(kind), Axis: axis, Said: date(row.Time), Until: "stands"})
					at = len(out) - 1
				case !on && was:
					out[at].Until = date(row.Time)
					delete(open, k)
				}
				if on {
					out[at].Since, out[at].Size = date(a.Since), l.signed(a.SizeMMPerM, 4)
				}
			}
		}
	}
	return out[max(0, len(out)-mostEpisodes):]
}
