package mixed

import "math"

// Slow noise that is correlated exponentially has no line in its spectrum, so a steady wave in time, as of a compressor or a
// pump, is no part of it: taken for slow noise it would cost much of what the sweep knows. Such a wave is looked for, and
// where the readings speak for it far more than chance would, it gets columns of its own.

// wave is a steady wave under the readings.
type wave struct {
	hertz  float64
	sizeMM float64 // amplitude as first seen: the scale of its prior
}

const (
	waveColumns = 4   // cosine and sine; both growing with time, for a frequency a little off and a wave that fades
	waveGrowth  = 0.5 // standard deviation of the growing ones relative to the steady ones
)

// writeWaves puts the waves into a design; each track has its own sizes and phases.
func (d *design) writeWaves(bs []block, waves []wave) {
	t0, half := timeSpan(bs)
	for i := range bs {
		b := &bs[i]
		for j, w := range waves {
			s, c := math.Sincos(2 * math.Pi * w.hertz * (b.t - t0))
			f := blur(math.Pi * w.hertz * b.seconds())
			u := (b.t - t0) / half
			x := d.rows[i][d.form+drifts+waveColumns*(j*len(d.circles)+b.track):]
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
