package jobsheet

import (
	"fmt"
	"html/template"
	"math"
	"strings"
)

// travelled draws where the spindle's upper end went, seen from above with the machine's back at the top; the limit
// holds for each axis by itself, so it is a square. Nothing is drawn of fewer than two sweeps that measured both axes.
func (s *Sheet) travelled() template.HTML {
	type place struct{ x, y float64 }
	var way []place
	most := s.LimitMMPerM * 1.3
	for _, g := range s.Stages {
		if g.Tilt != nil && g.Nod != nil {
			way = append(way, place{*g.Tilt, *g.Nod})
			most = math.Max(most, 1.12*math.Max(math.Abs(*g.Tilt), math.Abs(*g.Nod)))
		}
	}
	if len(way) < 2 || !(most > 0) || math.IsInf(most, 0) {
		return ""
	}
	const mid, half = 160.0, 130.0
	x := func(v float64) float64 { return mid + v/most*half }
	y := func(v float64) float64 { return mid - v/most*half }
	var b strings.Builder
	fmt.Fprintf(
		&b, `<svg viewBox="0 0 320 320" role="img" aria-label="The way of the upper end; the table tells the same">`)
	fmt.Fprintf(&b, `<path class="axis" d="M%.0f %.0fH%.0fM%.0f %.0fV%.0f"/>`, mid-half, mid, mid+half, mid,
		mid-half, mid+half)
	for _, t := range []struct {
		x, y   float64
		anchor string
		text   string
	}{{mid, 20, "middle", "back"}, {mid, 314, "middle", "front"}, {4, mid - 4, "start", "left"},
		{316, mid - 4, "end", "right"}} {
		fmt.Fprintf(&b, `<text x="%.0f" y="%.0f" text-anchor="%s">%s</text>`, t.x, t.y, t.anchor, t.text)
	}
	if l := s.LimitMMPerM; l > 0 {
		fmt.Fprintf(&b, `<rect class="limit" x="%.1f" y="%.1f" width="%.1f" height="%.1f"/>`, x(-l), y(l),
			2*l/most*half, 2*l/most*half)
	}
	var d []string
	for _, p := range way {
		d = append(d, fmt.Sprintf("%.1f %.1f", x(p.x), y(p.y)))
	}
	fmt.Fprintf(&b, `<path class="way" d="M%s"/>`, strings.Join(d, "L"))
	for i, p := range way {
		class, r := "been", 3.5
		if i == len(way)-1 {
			class, r = "end", 5
		}
		fmt.Fprintf(&b, `<circle class="%s" cx="%.1f" cy="%.1f" r="%.1f"/>`, class, x(p.x), y(p.y), r)
	}
	b.WriteString("</svg>")
	return template.HTML(b.String()) // numbers and fixed words only
}
