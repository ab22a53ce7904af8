package report

import (
	"fmt"
	"html"
	"math"
	"strings"
	"time"
)

// The picture's own measures, in its own units; it is scaled to the width there is.
const (
	wide, tall          = 720.0, 250.0
	left, right         = 62.0, 14.0
	top, bottom         = 14.0, 34.0
	fewTicks, manyTicks = 4, 8
)

// frame is the axes of a picture, and what was drawn in them.
type frame struct {
	b          strings.Builder
	from, till time.Time
	low, high  float64 // mm/m
	leans      leans
}

// newFrame makes room for times and values, with a little to spare.
func (l leans) newFrame(from, till time.Time, low, high float64, says string) *frame {
	if !till.After(from) {
		from, till = from.Add(-12*time.Hour), from.Add(12*time.Hour)
	}
	if !(high > low) {
		low, high = low-0.01, high+0.01
	}
	spare := 0.06 * (high - low)
	f := &frame{from: from, till: till, low: low - spare, high: high + spare, leans: l}
	fmt.Fprintf(&f.b, `<svg viewBox="0 0 %.0f %.0f" role="img" aria-label="%s">`, wide, tall, html.EscapeString(says))
	f.grid()
	return f
}

func (f *frame) x(t time.Time) float64 {
	share := t.Sub(f.from).Seconds() / f.till.Sub(f.from).Seconds()
	return left + share*(wide-left-right)
}

func (f *frame) y(v float64) float64 {
	return top + (f.high-v)/(f.high-f.low)*(tall-top-bottom)
}

func (f *frame) grid() {
	per, _ := f.leans.units.Scaled(1, 0) // ticks are round in the reader's unit
	step := nice((f.high - f.low) * per / fewTicks)
	digits := max(0, int(-math.Floor(math.Log10(step)+1e-9)))
	for v := math.Ceil(f.low*per/step) * step; v <= f.high*per; v += step {
		y := f.y(v / per)
		fmt.Fprintf(&f.b, `<line class="grid" x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f"/>`, left, y, wide-right, y)
		label := number(math.Abs(v), digits)
		if v < -step/2 {
			label = "−" + label
		}
		fmt.Fprintf(&f.b, `<text class="tick" x="%.1f" y="%.1f" text-anchor="end">%s</text>`, left-6, y+3.5, label)
	}
	days, form := dayStep(f.till.Sub(f.from).Hours() / 24)
	day := time.Duration(days * 24 * float64(time.Hour))
	for t := f.from.Truncate(day); !t.After(f.till); t = t.Add(day) {
		if t.Before(f.from) {
			continue
		}
		x := f.x(t)
		fmt.Fprintf(&f.b, `<line class="grid" x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f"/>`, x, top, x, tall-bottom)
		if x > left+10 && x < wide-right-26 || days < 1 {
			fmt.Fprintf(&f.b, `<text class="tick" x="%.1f" y="%.1f" text-anchor="middle">%s</text>`, x, tall-bottom+15,
				t.Local().Format(form))
		}
	}
	fmt.Fprintf(&f.b, `<text class="tick" x="%.1f" y="%.1f">%s</text>`, 4.0, top+4, f.leans.units.Lean())
}

// nice rounds a step up to 1, 2 or 5 times a power of ten.
func nice(x float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(x)))
	for _, m := range []float64{1, 2, 5} {
		if m*p >= x*(1-1e-9) {
			return m * p
		}
	}
	return 10 * p
}

// dayStep is the time between two ticks in days, and how they are written.
func dayStep(days float64) (float64, string) {
	for _, s := range []float64{1.0 / 24, 0.25, 1, 2, 7, 14, 28, 91, 182, 365, 730, 1826} {
		if days/s <= manyTicks {
			switch {
			case s < 1:
				return s, "01-02 15:04"
			case s < 91:
				return s, "01-02"
			}
			return s, "2006-01"
		}
	}
	return 3652, "2006"
}

func (f *frame) level(class string, v float64) {
	if v < f.low || v > f.high {
		return
	}
	y := f.y(v)
	fmt.Fprintf(&f.b, `<line class="%s" x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f"/>`, class, left, y, wide-right, y)
}

func (f *frame) moment(class string, t time.Time, label string) {
	x := f.x(t)
	fmt.Fprintf(&f.b, `<line class="%s" x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f"><title>%s</title></line>`, class, x,
		top, x, tall-bottom, html.EscapeString(label))
}

// mark writes a word along a moment's line, below the picture.
func (f *frame) mark(t time.Time, word string) {
	x, anchor := f.x(t), "middle"
	if x > wide-right-40 { // or its end is cut off
		x, anchor = wide-2, "end"
	}
	fmt.Fprintf(&f.b, `<text class="mark" x="%.1f" y="%.1f" text-anchor="%s">%s</text>`, x, tall-4, anchor,
		html.EscapeString(word))
}

type spot struct {
	t      time.Time
	v, low float64
	high   float64
}

func (f *frame) band(class string, s []spot) {
	if len(s) < 2 {
		return
	}
	fmt.Fprintf(&f.b, `<path class="%s" d="M`, class)
	for _, p := range s {
		fmt.Fprintf(&f.b, "%.1f %.1fL", f.x(p.t), f.clip(p.high))
	}
	for i := len(s) - 1; i >= 0; i-- {
		fmt.Fprintf(&f.b, "%.1f %.1f", f.x(s[i].t), f.clip(s[i].low))
		if i > 0 {
			f.b.WriteByte('L')
		}
	}
	f.b.WriteString(`Z"/>`)
}

func (f *frame) clip(v float64) float64 { return f.y(math.Min(math.Max(v, f.low), f.high)) }

func (f *frame) line(class string, s []spot) {
	if len(s) < 2 {
		return
	}
	fmt.Fprintf(&f.b, `<path class="%s" d="M`, class)
	for i, p := range s {
		if i > 0 {
			f.b.WriteByte('L')
		}
		fmt.Fprintf(&f.b, "%.1f %.1f", f.x(p.t), f.clip(p.v))
	}
	f.b.WriteString(`"/>`)
}

func (f *frame) dots(class string, s []spot) {
	for _, p := range s {
		x, y := f.x(p.t), f.clip(p.v)
		if p.high > p.low && len(s) <= 150 {
			fmt.Fprintf(&f.b, `<line class="bar" x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f"/>`, x, f.clip(p.low), x,
				f.clip(p.high))
		}
		fmt.Fprintf(&f.b, `<circle class="%s" cx="%.1f" cy="%.1f" r="%s"/>`, class, x, y, radius(len(s)))
	}
}

// radius lets many dots be small.
func radius(n int) string {
	if n > 150 {
		return "1.4"
	}
	return "2.4"
}

func (f *frame) String() string { return f.b.String() + "</svg>" }
