package mixed

import (
	"math"

	"tramd/sweep"
)

// Slow noise that is correlated exponentially has no line in its spectrum, so a steady wave in time, as of a compressor
// or a pump, is no part of it: taken for slow noise it would cost much of what the sweep knows. Such a wave is looked
// for, and where the readings speak for it far more than chance would, it gets columns of its own. So do fine waves of
// the table, of an order above those of the form: in the white noise they would be counted as if they could turn the
// lean.

// wave is a steady wave under the readings, in time or round the table.
type wave struct {
	hertz  float64
	order  int     // waves in one turn of the table; 0 where it is one in time
	sizeMM float64 // amplitude as first seen: the scale of its prior
}

const (
	// Cosine and sine. Of a wave in time also both growing, for a frequency a little off and a wave that fades; of a
	// wave of the table also the wave half as long, since its shape need not be a sine.
	waveColumns = 4
	waveGrowth  = 0.5 // standard deviation of the second two relative to the first
)

// writeWaves puts the waves into a design; each track has its own sizes and phases, or each circle on the table.
func (d *design) writeWaves(bs []block, waves []wave) {
	for i := range bs {
		b := &bs[i]
		for j, w := range waves {
			x := d.rows[i][d.form+drifts+waveColumns*(j*len(d.circles)+b.track):]
			if w.order > 0 {
				x = d.rows[i][d.form+drifts+waveColumns*(j*len(d.circles)+d.circles[b.track]):]
				for h := range 2 {
					k := float64(w.order * (h + 1))
					s, c := math.Sincos(k * b.th)
					f := blur(k * b.span / 2)
					x[2*h], x[2*h+1] = f*c, f*s
				}
				continue
			}
			s, c := math.Sincos(2 * math.Pi * w.hertz * (b.t - d.t0))
			f := blur(math.Pi * w.hertz * b.seconds())
			u := (b.t - d.t0) / d.half
			x[0], x[1], x[2], x[3] = f*c, f*s, f*u*c, f*u*s
		}
	}
}

// seconds is how long a block took.
func (b *block) seconds() float64 {
	if b.rate == 0 {
		return 0
	}
	return b.span / math.Abs(b.rate)
}

// wavePrecision is what the priors of the waves add to the diagonal, relative to white noise of variance noise2.
func (d *design) wavePrecision(out []float64) {
	n := len(d.circles)
	for j, w := range d.waves {
		for i := range n * waveColumns {
			v := sq(w.sizeMM) / d.noise2
			if i%waveColumns >= waveColumns/2 {
				v *= waveGrowth * waveGrowth
			}
			out[j*n*waveColumns+i] = 1 / v
		}
	}
}

// waveAt returns the coefficients of one wave on one track, or on one circle of the table.
func (f *fitting) waveAt(wave, place int) []float64 {
	at := f.d.form + drifts + waveColumns*(wave*len(f.d.circles)+place)
	return f.coef[at : at+waveColumns]
}

// timeWaves are the waves in time, as large as the track has them that shows them most.
func (f *fitting) timeWaves() (out []sweep.Wave) {
	for j, w := range f.d.waves {
		if w.order > 0 {
			continue
		}
		size := 0.0
		for k := range f.in.tracks {
			c := f.waveAt(j, k)
			size = math.Max(size, math.Hypot(c[0], c[1]))
		}
		out = append(out, sweep.Wave{Hertz: w.hertz, PeriodS: 1 / w.hertz, AmplitudeMM: size})
	}
	return out
}

// tableWaves are the waves of the table finer than the form, on the first track's circle.
func (f *fitting) tableWaves() (out []sweep.Harmonic) {
	for j, w := range f.d.waves {
		if w.order > 0 {
			c := f.waveAt(j, f.d.circles[0])
			out = append(out, harmonic(w.order, c[0], c[1]), harmonic(2*w.order, c[2], c[3]))
		}
	}
	return out
}
