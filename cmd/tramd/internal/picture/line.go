package picture

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Point is one place along a line, with how far the line departs from straight there.
type Point struct{ At, FormMM float64 }

// Curve is one line.
type Curve struct {
	Name   string
	Points []Point
}

// Line draws lines with their form enlarged, each on its own straight line.
func Line(title string, curves []Curve) string {
	curves = slices.DeleteFunc(slices.Clone(curves), func(c Curve) bool { return len(c.Points) < 2 })
	if len(curves) == 0 {
		return ""
	}
	var at []float64
	most := 0.0
	for _, c := range curves {
		for _, p := range c.Points {
			at = append(at, p.At)
			most = math.Max(most, math.Abs(p.FormMM))
		}
	}
	lo, hi := span(at)
	const left, right, row = 78.0, 580.0, 150.0
	c := open(640, 40+row*float64(len(curves)), title)
	x := func(v float64) float64 { return left + (v-lo)/(hi-lo)*(right-left) }
	scale := 38 / math.Max(most, 1e-6)
	c.text(8, 22, "start", ink, "%s", title)
	if most > 0 {
		c.text(632, 22, "end", soft, "form × %s", thousands((hi-lo)/(right-left)*scale))
	}
	for k, curve := range curves {
		points := slices.Clone(curve.Points)
		slices.SortFunc(points, func(a, b Point) int {
			if a.At < b.At {
				return -1
			}
			return 1
		})
		mid := 40 + row*(float64(k)+0.46)
		c.line(left, mid, right, mid, rule, 1.5)
		var d []string
		top, bottom := points[0], points[0]
		for _, p := range points {
			d = append(d, fmt.Sprintf("%.1f %.1f", x(p.At), mid-scale*p.FormMM))
			if p.FormMM > top.FormMM {
				top = p
			}
			if p.FormMM < bottom.FormMM {
				bottom = p
			}
		}
		c.put(`<path d="M%s" fill="none" stroke="%s" stroke-width="2.5"/>`, strings.Join(d, "L"), blue)
		if len(points) < 60 {
			for _, p := range points {
				c.put(`<circle cx="%.1f" cy="%.1f" r="3.5" fill="%s"/>`, x(p.At), mid-scale*p.FormMM, blue)
			}
		}
		c.text(x(top.At), mid-scale*top.FormMM-9, "middle", high, "%s", microns(top.FormMM))
		c.text(x(bottom.At), mid-scale*bottom.FormMM+22, "middle", low, "%s", microns(bottom.FormMM))
		c.text(4, mid+6, "start", soft, "%s", curve.Name)
		c.text(left, mid+76, "middle", soft, "%.6g", points[0].At)
		c.text(right, mid+76, "middle", soft, "%.6g mm", points[len(points)-1].At)
	}
	return c.close()
}

// thousands writes a magnification with two significant figures.
func thousands(x float64) string {
	if !(x > 0) || math.IsInf(x, 0) {
		return "1"
	}
	unit := math.Pow(10, math.Floor(math.Log10(x))-1)
	return fmt.Sprintf("%.0f", math.Round(x/unit)*unit)
}
