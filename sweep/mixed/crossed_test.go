package mixed

import (
	"math"
	"math/rand/v2"

	"tramd/sweep"
)

// The crossed study puts every disturbance beside every ground: with and without form, with and without slow noise,
// over one, two and three turns, with one indicator, two whose noise is their own, and two on one arm that rocks or
// heaves. What holds alone may break where two meet.

// ground is what a disturbance is put beside.
type ground struct {
	form, slow bool
	turns      float64
	arms       arms
}

type arms int

const (
	oneIndicator arms = iota
	ownNoise          // two opposite indicators, each with slow noise of its own
	rocking           // two opposite indicators on an arm that rocks: what one gains the other loses
	heaving           // two opposite indicators that rise and fall together
)

var armNames = [...]string{"one indicator", "two, own noise", "two, rocking", "two, heaving"}

// drawGround draws a ground; half of the sweeps are of one indicator.
func drawGround(r *rand.Rand) ground {
	return ground{
		form: r.IntN(2) == 0, slow: r.IntN(2) == 0, turns: float64(1 + r.IntN(3)),
		arms: [...]arms{oneIndicator, oneIndicator, oneIndicator, ownNoise, rocking, heaving}[r.IntN(6)],
	}
}

// disturbance is one thing that goes wrong; draw gives what it adds to the reading of an indicator (number k) at a
// time, an angle of the surface and a reading without it.
type disturbance struct {
	name string
	draw func(r *rand.Rand, seconds float64) func(k int, t, th, z float64) float64
}

func sign(r *rand.Rand) float64 { return math.Copysign(1, r.Float64()-0.5) }

// knockAt is a jump of the first indicator that stays.
func knockAt(r *rand.Rand, size, seconds float64) func(k int, t, th, z float64) float64 {
	at := seconds * (0.1 + 0.8*r.Float64())
	return func(k int, t, _, z float64) float64 {
		if k == 0 && t > at {
			return z + size
		}
		return z
	}
}

func disturbances() []disturbance {
	return []disturbance{
		{"nothing", func(*rand.Rand, float64) func(k int, t, th, z float64) float64 {
			return func(_ int, _, _, z float64) float64 { return z }
		}},
		{"knock of 0.01 to 0.08 mm", func(r *rand.Rand, seconds float64) func(k int, t, th, z float64) float64 {
			return knockAt(r, logUniform(r, 0.01, 0.08)*sign(r), seconds)
		}},
		{"two knocks", func(r *rand.Rand, seconds float64) func(k int, t, th, z float64) float64 {
			a, b := knockAt(r, logUniform(r, 0.01, 0.2)*sign(r), seconds),
				knockAt(r, logUniform(r, 0.01, 0.2)*sign(r), seconds)
			return func(k int, t, th, z float64) float64 { return b(k, t, th, a(k, t, th, z)) }
		}},
		{"knock and slots", func(r *rand.Rand, seconds float64) func(k int, t, th, z float64) float64 {
			a, b := knockAt(r, logUniform(r, 0.01, 0.2)*sign(r), seconds), slotted(r, logUniform(r, 0.05, 2))
			return func(k int, t, th, z float64) float64 { return a(k, t, th, z+b(th)) }
		}},
		{"slots", func(r *rand.Rand, _ float64) func(k int, t, th, z float64) float64 {
			b := slotted(r, logUniform(r, 0.03, 2))
			return func(_ int, _, th, z float64) float64 { return z + b(th) }
		}},
		{"dent or burr", func(r *rand.Rand, _ float64) func(k int, t, th, z float64) float64 {
			b := dented(r, logUniform(r, 0.003, 0.1)*sign(r))
			return func(_ int, _, th, z float64) float64 { return z + b(th) }
		}},
		{"odd readings", func(r *rand.Rand, _ float64) func(k int, t, th, z float64) float64 {
			share, size := logUniform(r, 0.003, 0.05), logUniform(r, 0.005, 0.5)
			return func(_ int, _, _, z float64) float64 {
				if r.Float64() < share {
					z += size * sign(r) * (0.2 + r.ExpFloat64())
				}
				return z
			}
		}},
		{"bump of 0.5 to 8 s", func(r *rand.Rand, seconds float64) func(k int, t, th, z float64) float64 {
			at, half, size := seconds*r.Float64(), logUniform(r, 0.5, 8)/2, logUniform(r, 0.003, 0.03)*sign(r)
			return func(_ int, t, _, z float64) float64 {
				if x := (t - at) / half; math.Abs(x) < 1 {
					z += size * (1 + math.Cos(math.Pi*x)) / 2
				}
				return z
			}
		}},
		{"steady wave of 2 to 30 s", func(r *rand.Rand, _ float64) func(k int, t, th, z float64) float64 {
			w := hum(r, logUniform(r, 0.0005, 0.004), 1/logUniform(r, 2, 30))
			return func(_ int, t, _, z float64) float64 { return z + w(t) }
		}},
		{"warming", func(r *rand.Rand, seconds float64) func(k int, t, th, z float64) float64 {
			w := warmUp(logUniform(r, 0.002, 0.02)*sign(r), seconds*logUniform(r, 0.15, 3))
			return func(_ int, t, _, z float64) float64 { return z + w(t) }
		}},
	}
}

// draw is one sweep of the disturbance on the ground.
func (g ground) draw(r *rand.Rand, d disturbance) trial {
	radius := 60 + 140*r.Float64()
	size, way := logUniform(r, 0.02e-3, 0.6e-3), 2*math.Pi*r.Float64()
	out := trial{tilt: size * math.Cos(way), nod: size * math.Sin(way)}
	count := 1
	if g.arms != oneIndicator {
		count = 2
	}
	for k := range count {
		out.setup.Indicators = append(out.setup.Indicators, sweep.Indicator{RadiusMM: radius, ResolutionMM: 0.001,
			PhaseDeg: 180 * float64(k)})
	}
	hand := walkRound{turns: g.turns, speed: 1 / logUniform(r, 10, 60), stroke: 0.2 + 0.4*r.Float64(),
		pace: 0.4 * r.Float64()}
	t, th := hand.path(r, logUniform(r, 15, 60))
	seconds := t[len(t)-1]
	table := flatTable
	if g.form {
		table = levelled(splined(r, 4+r.IntN(9)), logUniform(r, 0.0005, 0.006))
	}
	own := []series{hush, hush}
	common := hush
	if g.slow {
		sd, tau := logUniform(r, 0.0005, 0.004), logUniform(r, 0.3, 20)
		own = []series{relaxing(r, sd, tau), relaxing(r, sd, tau)}
		if g.arms == rocking || g.arms == heaving {
			share := 0.3 * r.Float64()
			own = []series{relaxing(r, share*sd, tau), relaxing(r, share*sd, tau)}
			common = relaxing(r, sd, tau)
		}
	}
	white := logUniform(r, 0.0003, 0.003)
	change := d.draw(r, seconds)
	offset := [2]float64{0.3 * r.NormFloat64(), 0.3 * r.NormFloat64()}
	for i := range t {
		shared := common(t[i])
		for k := range count {
			ph := th[i] + math.Pi*float64(k)
			if k == 1 && g.arms == rocking {
				shared = -shared
			}
			z := radius*(out.tilt*math.Cos(ph)+out.nod*math.Sin(ph)) + table(ph) + own[k](t[i]) + shared + offset[k]
			z = change(k, t[i], ph, z) + white*r.NormFloat64()
			out.pts = append(out.pts, sweep.Point{T: t[i], Angle: th[i], Reading: math.Round(z/0.001) * 0.001,
				Indicator: k})
		}
	}
	return out
}

// relaxing is noise that is correlated exponentially over tau seconds.
func relaxing(r *rand.Rand, sd, tau float64) series {
	at, z := 0.0, sd*r.NormFloat64()
	return func(t float64) float64 {
		f := math.Exp(-(t - at) / tau)
		z, at = f*z+sd*math.Sqrt(1-f*f)*r.NormFloat64(), t
		return z
	}
}
