package drift

import (
	"fmt"
	"slices"
	"time"

	"tramd/sweep"
)

// Look finds what a reader must know about a history's times; place says what its numbers count, "line" or "run".
func (h *History) Look(place string) []sweep.Warning {
	var out []sweep.Warning
	add := func(code, format string, args ...any) {
		out = append(out, sweep.Warning{Code: code, Text: fmt.Sprintf(format, args...)})
	}
	var g gaps
	var last *Check
	var began time.Time
	limit, changed := -1.0, false
	same, away := 0, 0
	for _, e := range h.Entries {
		c := e.Check
		if c == nil {
			continue
		}
		if last == nil {
			began = c.Time
		} else {
			gap := days(c.Time.Sub(last.Time))
			if c.Time.Equal(last.Time) {
				if same++; same == 1 {
					add("same_instant",
						"%s %d: a second check at %s; both are used, but nothing can be said of a rate between them",
						place, e.Place, c.Time.Format(time.RFC3339))
				}
			}
			if gap > 30 && gap > 10*g.typical() && len(g.latest) > 2 {
				if away++; away <= 3 {
					add("gap", "%s %d: no check for %.0f days before %s; what happened meanwhile is not known", place,
						e.Place, gap, c.Time.Format("2006-01-02"))
				}
			}
		}
		g.add(days(c.Time.Sub(began)))
		if limit >= 0 && c.Limit != limit && !changed {
			changed = true
			add("tolerance_changed",
				"%s %d: the tolerance changed from %.4g to %.4g mm/m; each day is judged by its own, dates by the last",
				place, e.Place, limit, c.Limit)
		}
		limit, last = c.Limit, c
	}
	return out
}

// Judge has every check judged by one tolerance in mm/m, whatever held when it was taken.
func (h *History) Judge(limit float64) {
	for i := range h.Entries {
		if c := h.Entries[i].Check; c != nil {
			c.Limit = limit
		}
	}
	h.Warnings = slices.DeleteFunc(h.Warnings, func(w sweep.Warning) bool { return w.Code == "tolerance_changed" })
}

// Temper takes a forecast back where the latest checks have no date.
func (h *History) Temper(f Forecast) Forecast {
	if h.Undated > 0 {
		return Forecast{
			Why: "the latest checks carry no believable time, so the newest state cannot be dated: set the clock and take another"}
	}
	return f
}

// Surface is what the last check swept.
func (h *History) Surface() string {
	for i := len(h.Entries) - 1; i >= 0; i-- {
		if h.Entries[i].Check != nil {
			return h.Entries[i].Surface
		}
	}
	return ""
}
