package report

import (
	"fmt"
	"html/template"

	"tramd/sweep/charts"
	"tramd/sweep/drift"
)

// The moving average of the control chart; limits for one false alarm in 370 by themselves (S. V. Crowder's method,
// computed with the R package spc 0.6.7: lambda 0.2, L 2.859).
const (
	lambda  = 0.2
	ewmaL   = 2.859
	charted = 200 // the latest checks
)

// control draws the individuals chart of one axis since the last event, with a moving average over it.
func (l leans) control(h *drift.History, axis int) (picture, bool) {
	name := drift.Axes[axis]
	var s []spot
	var x []float64
	seg := h.Segment()
	for _, c := range seg[max(0, len(seg)-charted):] {
		if v := c.Axis[axis]; v != nil {
			s, x = append(s, spot{t: c.Time, v: v.MMPerM}), append(x, v.MMPerM)
		}
	}
	if len(x) < 5 {
		return picture{}, false
	}
	// Limits come from the first half, or a drift would widen its own.
	base := x[:max(5, len(x)/2)]
	c := charts.Individuals(base)
	sigma := (c.Upper - c.Centre) / 3
	low, high := extent(0, s, []spot{{v: c.Lower}, {v: c.Upper}})
	says := fmt.Sprintf("Individuals of %s, %d checks: centre %s, limits %s and %s from the first %d", name, len(x),
		l.signed(c.Centre, 4), l.signed(c.Lower, 4), l.signed(c.Upper, 4), len(base))
	f := l.newFrame(s[0].t, s[len(s)-1].t, low, high, says)
	f.level("zero", c.Centre)
	f.level("action", c.Lower)
	f.level("action", c.Upper)
	w := charts.EWMALimits(c.Centre, sigma, lambda, ewmaL, -1)
	f.level("average", w.Lower)
	f.level("average", w.Upper)
	z := charts.EWMA(x, lambda, c.Centre)
	avg := make([]spot, len(z))
	for i := range z {
		avg[i] = spot{t: s[i].t, v: z[i]}
	}
	f.line("level", avg)
	f.dots("dot", s)
	return picture{Title: title(name), Says: says, SVG: template.HTML(f.String())}, true //nolint:gosec // made here
}
