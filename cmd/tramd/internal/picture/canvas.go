package picture

import (
	"fmt"
	"html"
	"math"
	"strings"
)

// Colours on a light ground; what is high and what is low differ in lightness, too.
const (
	ground = "#fbfaf7"
	ink    = "#181c22"
	soft   = "#50555b"
	rule   = "#c8c6be"
	blue   = "#1b3f7d"
	high   = "#a53100"
	low    = "#005f59"
)

// canvas collects the elements of a picture.
type canvas struct {
	strings.Builder
	width, height float64
}

// open begins a picture that is named for those who do not see it.
func open(width, height float64, name string) *canvas {
	c := &canvas{width: width, height: height}
	fmt.Fprintf(
		c,
		`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" role="img" aria-label="%s" font-family="sans-serif" font-size="18">`,
		width, height, html.EscapeString(name))
	c.put(`<rect width="%g" height="%g" fill="%s"/>`, width, height, ground)
	return c
}

func (c *canvas) put(format string, args ...any) { fmt.Fprintf(c, format, args...) }

func (c *canvas) close() string { return c.String() + "</svg>" }

func (c *canvas) text(x, y float64, anchor, colour, format string, args ...any) {
	c.put(`<text x="%.1f" y="%.1f" text-anchor="%s" fill="%s">%s</text>`, x, y, anchor, colour,
		html.EscapeString(fmt.Sprintf(format, args...)))
}

func (c *canvas) line(x1, y1, x2, y2 float64, colour string, width float64) {
	c.put(`<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" stroke="%s" stroke-width="%g"/>`, x1, y1, x2, y2,
		colour, width)
}

// arrow draws a line with a head at its end.
func (c *canvas) arrow(x1, y1, x2, y2 float64, colour string) {
	c.line(x1, y1, x2, y2, colour, 2)
	way := math.Atan2(y2-y1, x2-x1)
	for _, side := range []float64{2.6, -2.6} {
		c.line(x2, y2, x2+9*math.Cos(way+side), y2+9*math.Sin(way+side), colour, 2)
	}
}

// span returns the least and the largest of values, widened where they are the same.
func span(values []float64) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, v := range values {
		lo, hi = math.Min(lo, v), math.Max(hi, v)
	}
	if !(hi > lo) {
		lo, hi = lo-0.5, lo+0.5
	}
	return lo, hi
}

// microns writes a length as people read it on a picture.
func microns(mm float64) string {
	return strings.Replace(fmt.Sprintf("%+.1f µm", 1000*mm), "-", "−", 1)
}
