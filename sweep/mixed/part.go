package mixed

import (
	"math"
	"slices"

	"tramd/sweep"
)

// Beside form, drift and noise a sweep may hold parts that are there or not: a steady wave in time, as of a
// compressor or a pump, a wave of the table finer than its form, a dent or a burr of the surface, a bump in time, as
// of a door that opens, a table of plates of unequal height, a jump that stays though it is small or undone later.
// Slow noise that is correlated exponentially has no line in its spectrum, so a wave taken for it would cost much of
// what the sweep knows; what the surface has beyond its form would count as white noise, as if it could not turn the
// lean. Each part is a few columns with a normal prior and has odds of its own; the marginal likelihood judges.

// kind of a part.
type kind int

const (
	waveInTime kind = iota
	waveOfTable
	dent   // or burr, with smooth flanks
	plates // of unequal height
	jumps  // of one track, that stay
	bump   // in time, of both indicators at once, each its own height
)

// part is one cause of readings that is there or not.
type part struct {
	kind   kind
	hertz  float64   // of a wave in time
	order  int       // of a wave of the table: waves in one turn
	mid    float64   // of a dent, radians, or of a bump, s
	half   float64   // half its width
	edges  []float64 // of plates, radians
	track  int       // of jumps
	times  []float64 // of jumps, s
	back   bool      // the second of two jumps undoes the first
	sizeMM float64   // standard deviation of its first column before the readings speak
	odds   float64   // log of its share of the sweeps before the readings speak, its place chosen
}

const (
	// Of a wave cosine and sine; of one in time also both growing, for a frequency a little off and a wave that
	// fades; of one of the table also the wave half as long, since its shape need not be a sine. Of a dent or bump
	// its height, and by how much it lies aside, is wider and is steeper. Of plates the heights of all edges but the
	// first.
	partColumns = 4
	waveGrowth  = 0.5  // standard deviation of a wave's second two columns relative to the first
	humpShape   = 0.25 // the same of a hump's shape
)

// of returns the circle of the surface, or the track, whose columns a block's reading of the part has.
func (p *part) of(d *design, b *block) int {
	if p.kind == waveInTime || p.kind == jumps || p.kind == bump {
		return b.track
	}
	return d.circles[b.track]
}

// writeParts writes the columns of the parts: each track has its own, or each circle on the table.
func (d *design) writeParts(bs []block, parts []part) {
	for j := range parts {
		p := &parts[j]
		at := d.form + drifts + partColumns*j*len(d.circles)
		for i := range bs {
			b := &bs[i]
			x := d.rows[i][at+partColumns*p.of(d, b):][:partColumns]
			switch p.kind {
			case waveInTime:
				s, c := math.Sincos(2 * math.Pi * p.hertz * (b.t - d.t0))
				f := blur(math.Pi * p.hertz * b.seconds())
				u := (b.t - d.t0) / d.half
				x[0], x[1], x[2], x[3] = f*c, f*s, f*u*c, f*u*s
			case waveOfTable:
				for h := range 2 {
					k := float64(p.order * (h + 1))
					s, c := math.Sincos(k * b.th)
					f := blur(k * b.span / 2)
					x[2*h], x[2*h+1] = f*c, f*s
				}
			case dent:
				for _, node := range nodes {
					p.hump(math.Remainder(b.th+node.at*b.span/2-p.mid, 2*math.Pi), node.weight, x)
				}
			case bump:
				for _, node := range nodes {
					p.hump(b.t+node.at*b.seconds()/2-p.mid, node.weight, x)
				}
			case jumps:
				if b.track == p.track {
					p.jumped(b, x)
				}
			case plates:
				first := edgeAt(b, p.edges[0])
				for k, e := range p.edges[1:] {
					x[k] = edgeAt(b, e) - first
				}
			}
		}
	}
}

// nodes and weights of a mean over a block, by Simpson's rule.
var nodes = [3]struct{ at, weight float64 }{{-1, 1.0 / 6}, {0, 4.0 / 6}, {1, 1.0 / 6}}

// hump adds, weighted, a hump's height so far off its middle, and what changes of its shape add there.
func (p *part) hump(off, weight float64, x []float64) {
	u := off / p.half
	if math.Abs(u) >= 1 {
		return
	}
	s, c := math.Sincos(math.Pi * u)
	h := (1 + c) / 2
	x[0] += weight * h
	x[1] += weight * math.Pi / 2 * s     // aside, in half widths
	x[2] += weight * math.Pi / 2 * s * u // wider
	x[3] += weight * 4 * h * (h - 1)     // steeper
}

// jumped writes for each jump the share of a block that lies after it.
func (p *part) jumped(b *block, x []float64) {
	for k, t := range p.times {
		if s := b.seconds(); s > 0 {
			x[k] = math.Min(math.Max(0, 0.5+(b.t-t)/s), 1)
		} else if b.t > t {
			x[k] = 1
		}
	}
	if p.back {
		x[0], x[1] = x[0]-x[1], 0
	}
}

// seconds is how long a block took.
func (b *block) seconds() float64 {
	if b.rate == 0 {
		return 0
	}
	return b.span / math.Abs(b.rate)
}

// partPrecision is what the priors of the parts add to the diagonal, relative to white noise of variance noise2.
func (d *design) partPrecision(out []float64) {
	n := len(d.circles)
	for j, p := range d.parts {
		for i := range n * partColumns {
			v := sq(p.sizeMM) / d.noise2
			switch {
			case (p.kind == dent || p.kind == bump) && i%partColumns > 0:
				v *= humpShape * humpShape
			case (p.kind == waveInTime || p.kind == waveOfTable) && i%partColumns >= partColumns/2:
				v *= waveGrowth * waveGrowth
			}
			out[j*n*partColumns+i] = 1 / v
		}
	}
}

// partAt returns the coefficients of one part on one track, or on one circle of the table.
func (f *fitting) partAt(number, place int) []float64 {
	at := f.d.form + drifts + partColumns*(number*len(f.d.circles)+place)
	return f.coef[at : at+partColumns]
}

// jumpsAt returns how far a track has jumped by a time, by the jumps that are parts.
func (f *fitting) jumpsAt(track int, t float64) (z float64) {
	for j, p := range f.d.parts {
		if p.kind != jumps || p.track != track {
			continue
		}
		for k, size := range f.jumpSizes(j) {
			if t > p.times[k] {
				z += size
			}
		}
	}
	return z
}

// jumpSizes returns the sizes of the jumps of one part.
func (f *fitting) jumpSizes(number int) []float64 {
	p := &f.parts[number]
	sizes := slices.Clone(f.partAt(number, p.track)[:len(p.times)])
	if p.back {
		sizes[1] = -sizes[0]
	}
	return sizes
}

// timeWaves are the waves in time, as large as the track has them that shows them most.
func (f *fitting) timeWaves() (out []sweep.Wave) {
	for j, p := range f.d.parts {
		if p.kind != waveInTime {
			continue
		}
		size := 0.0
		for k := range f.in.tracks {
			c := f.partAt(j, k)
			size = math.Max(size, math.Hypot(c[0], c[1]))
		}
		out = append(out, sweep.Wave{Hertz: p.hertz, PeriodS: 1 / p.hertz, AmplitudeMM: size})
	}
	return out
}

// tableWaves are the waves of the table finer than the form, on the first track's circle.
func (f *fitting) tableWaves() (out []sweep.Harmonic) {
	for j, p := range f.d.parts {
		if p.kind == waveOfTable {
			c := f.partAt(j, f.d.circles[0])
			out = append(out, harmonic(p.order, c[0], c[1]), harmonic(2*p.order, c[2], c[3]))
		}
	}
	return out
}
