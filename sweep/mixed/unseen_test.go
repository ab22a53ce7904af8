package mixed

import (
	"math"
	"math/rand/v2"

	"tramd/sweep"
)

// onARound is the ground of the second generator's long sweeps: mostly one turn and a bit.
func onARound(r *rand.Rand) shop {
	turns := []float64{1.1, 1.1, 1.3, 2.2, 3.4}[r.IntN(5)]
	return shop{
		hand: walkRound{turns: turns, speed: 1 / logUniform(r, 8, 60), stroke: 0.2 + 0.4*r.Float64(),
			pace: 0.4 * r.Float64()},
		rate: logUniform(r, 15, 60), white: logUniform(r, 0.0003, 0.003),
	}
}

// threeWaves is a machine with a table of three waves and slow noise of a quarter of the turn, which looks much like
// them.
func threeWaves(r *rand.Rand) trial {
	const radius, seconds, hertz = 120, 7.5, 100
	size, way := logUniform(r, 0.02e-3, 0.6e-3), 2*math.Pi*r.Float64()
	out := trial{tilt: size * math.Cos(way), nod: size * math.Sin(way)}
	out.setup = oneArm(radius)
	air, from := relaxing(r, 0.0008, 2), 2*math.Pi*r.Float64()
	for i := range int(seconds * hertz) {
		t := float64(i) / hertz
		th := from + 2*math.Pi*t/seconds
		z := radius*(out.tilt*math.Cos(th)+out.nod*math.Sin(th)) + air(t) + 0.0012*r.NormFloat64()
		z += 0.003*math.Cos(2*th-0.6) + 0.0015*math.Cos(3*th+1.4) + 0.0006*math.Cos(5*th-0.2)
		out.pts = append(out.pts, sweep.Point{T: t, Angle: th, Reading: math.Round(z*1000) / 1000})
	}
	return out
}

// unseen are the families of the second generator.
func unseen() []family {
	long := func(change func(r *rand.Rand, s *shop)) func(r *rand.Rand) trial {
		return func(r *rand.Rand) trial {
			s := onARound(r)
			change(r, &s)
			return s.draw(r)
		}
	}
	// A quick turn of 60 to 1000 readings over a table of a few waves.
	short := func(change func(r *rand.Rand, s *shop)) func(r *rand.Rand) trial {
		return func(r *rand.Rand) trial {
			seconds := logUniform(r, 5, 15)
			s := shop{
				hand: walkRound{turns: 1, speed: 1 / seconds, stroke: 0.2 + 0.4*r.Float64(), pace: 0.4 * r.Float64()},
				rate: logUniform(r, 60, 1000) / seconds, white: logUniform(r, 0.0003, 0.003), table: fewWaves(r),
			}
			change(r, &s)
			return s.draw(r)
		}
	}
	smooth := func(r *rand.Rand) relief { return levelled(splined(r, 4+r.IntN(9)), logUniform(r, 0.0005, 0.006)) }
	stations := func(from, to int, even bool) func(r *rand.Rand) trial {
		return func(r *rand.Rand) trial {
			n := from + r.IntN(to-from+1)
			s := shop{white: logUniform(r, 0.0005, 0.003), eye: logUniform(r, 0.3, 3), rest: 4 + 6*r.Float64()}
			s.table = levelled(splined(r, 5+r.IntN(5)), logUniform(r, 0.0002, 0.002))
			s.warm, s.cool = 0.002*r.NormFloat64(), logUniform(r, 10, 200)
			for i := range n {
				d := 360 * float64(i) / float64(n)
				if !even {
					d += 360 / float64(n) * 0.25 * r.NormFloat64()
				}
				s.deg = append(s.deg, d)
			}
			if r.IntN(2) == 0 {
				s.deg = append(s.deg, s.deg[0]+360)
			}
			return s.draw(r)
		}
	}
	return []family{
		{"3 stations", false, stations(3, 3, true)},
		{"4 stations", false, stations(4, 4, true)},
		{"5 to 16 stations", false, stations(5, 16, true)},
		{"6 to 16 uneven stations", false, stations(6, 16, false)},
		{"20 to 60 stations, rarely a chip", false, func(r *rand.Rand) trial {
			n := 20 + r.IntN(41)
			s := shop{white: logUniform(r, 0.0003, 0.003), eye: logUniform(r, 0.1, 1), rest: 5, odd: 0.03, oddMM: 0.05,
				table: smooth(r)}
			for i := range n {
				s.deg = append(s.deg, 360*float64(i)/float64(n))
			}
			return s.draw(r)
		}},
		{"white only", true, long(func(r *rand.Rand, s *shop) {})},
		{"1/f", true, long(func(r *rand.Rand, s *shop) {
			sd := logUniform(r, 0.0005, 0.004)
			s.air = func() series { return flicker(r, sd, 60) }
		})},
		{"wander, one turn", true, long(func(r *rand.Rand, s *shop) {
			s.hand.turns = 1.1
			sd := logUniform(r, 0.001, 0.01)
			s.air = func() series { return wander(r, sd, s.hand.turns/s.hand.speed) }
		})},
		{"wander, several turns both ways", true, long(func(r *rand.Rand, s *shop) {
			s.hand.turns, s.hand.passes = 1.1+1.2*r.Float64(), 2
			sd := logUniform(r, 0.001, 0.01)
			s.air = func() series { return wander(r, sd, s.hand.turns/s.hand.speed) }
		})},
		{"tremor", true, long(func(r *rand.Rand, s *shop) {
			sd, hz, q := logUniform(r, 0.001, 0.005), 4+7*r.Float64(), 0.02+0.1*r.Float64()
			s.air = func() series { return tremor(r, sd, hz, q) }
		})},
		{"noise of 1 to 3 Hz", true, long(func(r *rand.Rand, s *shop) {
			sd := logUniform(r, 0.0005, 0.003)
			s.air = func() series { return colored(r, sd, 0, 1, 3) }
		})},
		{"small lean, there and back", true, long(func(r *rand.Rand, s *shop) {
			s.hand.turns, s.hand.passes, s.size = 1.1+0.9*r.Float64(), 2, logUniform(r, 0.005, 0.04)
		})},
		{"hum of 0.2 to 3 Hz", true, long(func(r *rand.Rand, s *shop) {
			sd, hz := logUniform(r, 0.0005, 0.003), logUniform(r, 0.2, 3)
			s.air = func() series { return hum(r, sd, hz) }
		})},
		{"splined table", true, long(func(r *rand.Rand, s *shop) { s.table = smooth(r) })},
		{"splined table, 1/f", true, long(func(r *rand.Rand, s *shop) {
			s.table = smooth(r)
			sd := logUniform(r, 0.0005, 0.003)
			s.air = func() series { return flicker(r, sd, 60) }
		})},
		{"splined table, wander", true, long(func(r *rand.Rand, s *shop) {
			s.table = smooth(r)
			sd := logUniform(r, 0.0005, 0.003)
			s.air = func() series { return wander(r, sd, 30) }
		})},
		{"stepped table", true, long(func(r *rand.Rand, s *shop) {
			s.table = levelled(stepped(r), logUniform(r, 0.0005, 0.004))
		})},
		{"wavy table", true, long(func(r *rand.Rand, s *shop) {
			s.table = levelled(wavy(r), logUniform(r, 0.0005, 0.006))
		})},
		{"one dent or burr", true, long(func(r *rand.Rand, s *shop) {
			s.table = onTop(smooth(r), dented(r, logUniform(r, 0.003, 0.1)*math.Copysign(1, r.Float64()-0.7)))
		})},
		{"strokes, rests and lost stretches", true, long(func(r *rand.Rand, s *shop) {
			s.hand.pace, s.hand.rests, s.hand.stroke, s.drop = 0.6, 0.7, 0.1+0.2*r.Float64(), 1+r.IntN(4)
			s.table = smooth(r)
			sd := logUniform(r, 0.0003, 0.002)
			s.air = func() series { return flicker(r, sd, 30) }
		})},
		{"parts of a turn, 0.5 to 0.95", true, long(func(r *rand.Rand, s *shop) {
			s.hand.turns = 0.5 + 0.45*r.Float64()
			s.table = levelled(splined(r, 4+r.IntN(5)), logUniform(r, 0.0002, 0.003))
		})},
		{"both ways, stick-slip", true, long(func(r *rand.Rand, s *shop) {
			s.hand.turns, s.hand.passes, s.stick, s.table = 1.1+0.9*r.Float64(), 2, logUniform(r, 0.001, 0.005),
				smooth(r)
		})},
		{"heavy tails and odd readings of both signs", true, long(func(r *rand.Rand, s *shop) {
			s.heavy, s.odd, s.oddMM, s.table = true, logUniform(r, 0.003, 0.05), logUniform(r, 0.005, 0.5), smooth(r)
		})},
		{"steps of 0.01 mm", true, long(func(r *rand.Rand, s *shop) { s.step = 0.01 })},
		{"steps of 0.01 mm, table, 1/f", true, long(func(r *rand.Rand, s *shop) {
			s.step, s.table = 0.01, smooth(r)
			sd := logUniform(r, 0.0005, 0.003)
			s.air = func() series { return flicker(r, sd, 60) }
		})},
		{"two or three indicators", true, long(func(r *rand.Rand, s *shop) {
			s.arms = 2 + r.IntN(2)
			s.table = smooth(r)
			sd := logUniform(r, 0.0005, 0.003)
			s.air = func() series { return flicker(r, sd, 60) }
		})},
		{"warming", true, long(func(r *rand.Rand, s *shop) {
			s.warm, s.cool = logUniform(r, 0.002, 0.02)*math.Copysign(1, r.NormFloat64()),
				s.hand.turns/s.hand.speed*logUniform(r, 0.15, 3)
			s.table = smooth(r)
		})},
		{"late angles, both ways", true, long(func(r *rand.Rand, s *shop) {
			s.hand.turns, s.hand.passes, s.late = 1.1, 2, logUniform(r, 0.02, 0.25)
			s.table = smooth(r)
		})},
		{"turn of 5 to 15 s", true, short(func(r *rand.Rand, s *shop) {})},
		{"turn of 5 to 15 s, slow noise", true, short(func(r *rand.Rand, s *shop) {
			sd, tau := logUniform(r, 0.0003, 0.003), logUniform(r, 0.3, 5)
			s.air = func() series { return relaxing(r, sd, tau) }
		})},
		{"turn of 7.5 s, three waves, slow noise", true, threeWaves},
		{"a little of everything", true, long(func(r *rand.Rand, s *shop) {
			s.hand.pace, s.hand.rests, s.drop, s.odd, s.oddMM = 0.5, 0.3, r.IntN(3), 0.005, 0.05
			s.table = onTop(smooth(r), dented(r, -logUniform(r, 0.01, 0.1)))
			s.warm, s.cool = 0.003*r.NormFloat64(), 60
			a, b := logUniform(r, 0.0003, 0.002), logUniform(r, 0.0005, 0.003)
			s.air = func() series { return both(flicker(r, a, 60), tremor(r, b, 7, 0.05)) }
		})},
	}
}
