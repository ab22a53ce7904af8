package mixed

import (
	"math"
	"math/rand/v2"
)

// keptBack are kinds that nothing is tuned on: the priors were set before they were first run, and are not to be set by
// them.

// colored is noise whose power falls as f^-power over the given band in Hz.
func colored(r *rand.Rand, sd, power, from, to float64) series {
	type wave struct{ w, phase, size float64 }
	var waves []wave
	var sum float64
	for f := from; f < to; f *= 1.05 + 0.15*r.Float64() {
		v := math.Pow(f, 1-power) * r.ExpFloat64() // even in the logarithm of f
		sum += v
		waves = append(waves, wave{2 * math.Pi * f, 2 * math.Pi * r.Float64(), math.Sqrt(v)})
	}
	unit := sd * math.Sqrt(2/sum)
	return func(t float64) (z float64) {
		for _, w := range waves {
			z += unit * w.size * math.Cos(w.w*t+w.phase)
		}
		return z
	}
}

// struck rings at a frequency after each of its blows, which come at random, one in two seconds, and fades.
func struck(r *rand.Rand, size, hertz, fade float64) series {
	last, next, now := -1e9, 2*r.ExpFloat64(), 0.0
	return func(t float64) float64 {
		for t >= next {
			last, now = next, size*r.NormFloat64()
			next += 2 * r.ExpFloat64()
		}
		return now * math.Exp(-(t-last)/fade) * math.Sin(2*math.Pi*hertz*(t-last))
	}
}

// slotted has one to three slots with rounded edges, as a ball stylus rolls into them: flat at the bottom, each of its
// own width.
func slotted(r *rand.Rand, depth float64) relief {
	type slot struct{ mid, half, edge float64 }
	var slots []slot
	for range 1 + r.IntN(3) {
		half := (2 + 6*r.Float64()) * math.Pi / 180
		slots = append(slots, slot{2 * math.Pi * r.Float64(), half, half * (0.1 + 0.5*r.Float64())})
	}
	return func(th float64) (z float64) {
		for _, s := range slots {
			x := s.half - math.Abs(math.Remainder(th-s.mid, 2*math.Pi))
			if x > 0 {
				u := math.Min(1, x/s.edge)
				z = math.Min(z, -depth*u*u*(3-2*u))
			}
		}
		return z
	}
}

func keptBack() []family {
	long := func(change func(r *rand.Rand, s *shop)) func(r *rand.Rand) trial {
		return func(r *rand.Rand) trial {
			s := onARound(r)
			change(r, &s)
			return s.draw(r)
		}
	}
	table := func(r *rand.Rand) relief { return levelled(splined(r, 3+r.IntN(6)), logUniform(r, 0.0003, 0.004)) }
	return []family{
		{"slots with round edges", true, long(func(r *rand.Rand, s *shop) {
			s.table = onTop(table(r), slotted(r, logUniform(r, 0.03, 2)))
		})},
		{"noise of f^-1.5", true, long(func(r *rand.Rand, s *shop) {
			sd := logUniform(r, 0.0005, 0.003)
			s.air = func() series { return colored(r, sd, 1.5, 0.01, 5) }
		})},
		{"noise of f^-0.5, table", true, long(func(r *rand.Rand, s *shop) {
			s.table = table(r)
			sd := logUniform(r, 0.0005, 0.003)
			s.air = func() series { return colored(r, sd, 0.5, 0.02, 5) }
		})},
		{"noise of an octave, table", true, long(func(r *rand.Rand, s *shop) {
			s.table = table(r)
			sd, f := logUniform(r, 0.0005, 0.003), logUniform(r, 0.3, 4)
			s.air = func() series { return colored(r, sd, 0, f, 2*f) }
		})},
		{"arm that is struck", true, long(func(r *rand.Rand, s *shop) {
			size, f, fade := logUniform(r, 0.002, 0.01), logUniform(r, 1, 9), logUniform(r, 0.2, 1)
			s.air = func() series { return struck(r, size, f, fade) }
		})},
		{"two hums, table", true, long(func(r *rand.Rand, s *shop) {
			s.table = table(r)
			a, b := logUniform(r, 0.0005, 0.002), logUniform(r, 0.0005, 0.002)
			f := logUniform(r, 0.3, 2)
			s.air = func() series { return both(hum(r, a, f), hum(r, b, f*(1.3+r.Float64()))) }
		})},
		{"steps of 0.002 to 0.02 mm, table", true, long(func(r *rand.Rand, s *shop) {
			s.step, s.table = []float64{0.002, 0.005, 0.0127, 0.02}[r.IntN(4)], table(r)
		})},
		{"3 to 5 stations", false, func(r *rand.Rand) trial {
			n := 3 + r.IntN(3)
			s := shop{white: logUniform(r, 0.0004, 0.002), eye: logUniform(r, 0.2, 2), rest: 5 + 10*r.Float64(),
				table: levelled(splined(r, 4+r.IntN(4)), logUniform(r, 0.0003, 0.003))}
			s.warm, s.cool = 0.001*r.NormFloat64(), 100
			from := 360 * r.Float64()
			for i := range n {
				s.deg = append(s.deg, from+360*float64(i)/float64(n))
			}
			return s.draw(r)
		}},
		{"arcs of 200 to 300 degrees", true, long(func(r *rand.Rand, s *shop) {
			s.hand.turns, s.table = (200+100*r.Float64())/360, table(r)
			sd := logUniform(r, 0.0003, 0.002)
			s.air = func() series { return flicker(r, sd, 20) }
		})},
		{"two turns there and back", true, long(func(r *rand.Rand, s *shop) {
			s.hand.turns, s.hand.passes, s.stick, s.late, s.table = 2, 2, logUniform(r, 0.0003, 0.003),
				logUniform(r, 0.005, 0.1), table(r)
		})},
	}
}
