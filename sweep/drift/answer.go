package drift

import (
	"math"
	"strings"

	"tramd/sweep"
)

// Answer is everything said of a history.
type Answer struct {
	Rows     []Row
	Alarms   []Alarm // that stand now
	Verdict  sweep.Verdict
	Forecast Forecast
	Scatter  [2]float64          // from check to check beyond what u explains, mm/m; NaN: not known
	Process  [2]map[Kind]float64 // how the axis moves, as weights that sum to one; nil: nothing measured
	ByHours  [2]float64          // chance that the axis moves by the spindle's hours and not by the calendar; NaN: not known
	Warmth   [2]*Warmth          // how the axis leans with the temperature; nil: too little recorded to tell
	AtC      float64             // the temperature that levels are stated at, the median of those recorded; NaN: none was
	HoursDay float64             // of the spindle, of late; NaN: not known
	Warnings []sweep.Warning
	Tracker  *Tracker
}

// RatePer100Hours is how fast an axis that follows the spindle's hours moves, in mm/m for 100 of them, with its
// standard uncertainty; ok is false where it does not go by them, as likely as not.
func (a *Answer) RatePer100Hours(axis int) (rate, u float64, ok bool) {
	now := a.Tracker.Now()[axis]
	if now == nil || !(a.ByHours[axis] > 0.5) || !(a.HoursDay > 0) {
		return 0, 0, false
	}
	return 100 * now.Rate / a.HoursDay, 100 * now.RateU / a.HoursDay, true
}

// PerKelvin is how an axis leans with the temperature, in mm/m for one kelvin, with its standard uncertainty; ok is
// false where it does not, as likely as not.
func (a *Answer) PerKelvin(axis int) (perK, u float64, ok bool) {
	w := a.Warmth[axis]
	if w == nil || !(w.Chance > 0.5) {
		return 0, 0, false
	}
	return w.PerK, w.U, true
}

// Work works out a history: what would have been said at each check, and what follows for a reliability such as 0.95.
func Work(h *History, reliability float64) (*Answer, error) { return workEach(h, reliability, nil) }

// workEach hands on the rows as they are ready.
func workEach(h *History, reliability float64, each func([]Row) error) (*Answer, error) {
	t := New()
	t.Plan = h.Plan
	rows, err := t.follow(h.Entries, each)
	if err != nil {
		return nil, err
	}
	out := t.Answer(reliability)
	out.Rows, out.Warnings = rows, h.Warnings
	out.Forecast = h.Temper(out.Forecast)
	return out, nil
}

// Answer is what is said now; without rows and warnings.
func (t *Tracker) Answer(reliability float64) *Answer {
	out := &Answer{Alarms: t.Alarms(), Verdict: t.Verdict(), Forecast: t.Forecast(reliability), Tracker: t,
		HoursDay: t.hours.perDay(), AtC: t.warmth.median()}
	for i, a := range t.axes {
		out.Scatter[i], out.ByHours[i] = a.scatter(), math.NaN()
		if a.bank == nil {
			continue
		}
		out.ByHours[i], out.Warmth[i] = a.bank.byHours(), a.bank.warmth()
		out.Process[i] = map[Kind]float64{}
		for k, w := range a.bank.kinds() {
			out.Process[i][Kind(k)] = w
		}
	}
	return out
}

// Verdict is whether the machine lies within its tolerance after the last check, by the level and not by that check
// alone.
func (t *Tracker) Verdict() sweep.Verdict {
	if t.limit <= 0 || t.checks == 0 {
		return sweep.None
	}
	all := sweep.Within
	for _, a := range t.axes {
		switch {
		case a.outside != nil:
			return sweep.Outside
		case a.bank == nil:
			all = sweep.Undecided
		default:
			now := a.now
			if !(math.Abs(now.Level)+oneSided*now.U <= t.limit) {
				all = sweep.Undecided
			}
		}
	}
	return all
}

// Now is where the axes lie after the last check; nil where nothing was measured since the last event.
func (t *Tracker) Now() [2]*Lean {
	var out [2]*Lean
	for i, a := range t.axes {
		if a.bank != nil {
			now := a.now
			out[i] = &now
		}
	}
	return out
}

func percent(x float64) string {
	return strings.TrimSuffix(strings.TrimRight(number(100*x, 3), "0"), ".") + " %"
}
