package mixed

import (
	"math"
	"math/rand/v2"
)

// relief is the height of a surface along the circle, in mm, less its plane.
type relief func(th float64) float64

func flatTable(float64) float64 { return 0 }

// levelled takes the mean and the first harmonic off, which are the plane of the surface, and scales the rest to rms.
func levelled(f relief, rms float64) relief {
	const n = 1440
	var mean, c, s, square float64
	for i := range n {
		th := 2 * math.Pi * float64(i) / n
		z := f(th)
		mean, c, s = mean+z/n, c+2*z*math.Cos(th)/n, s+2*z*math.Sin(th)/n
	}
	rest := func(th float64) float64 { return f(th) - mean - c*math.Cos(th) - s*math.Sin(th) }
	for i := range n {
		z := rest(2 * math.Pi * float64(i) / n)
		square += z * z / n
	}
	scale := rms / math.Max(math.Sqrt(square), 1e-12)
	return func(th float64) float64 { return scale * rest(th) }
}

// splined is a smooth closed curve through a few random heights at uneven angles (Catmull-Rom).
func splined(r *rand.Rand, knots int) relief {
	at, z := make([]float64, knots), make([]float64, knots)
	for i := range at {
		at[i], z[i] = 2*math.Pi*(float64(i)+0.6*r.Float64())/float64(knots), r.NormFloat64()
	}
	return func(th float64) float64 {
		th = math.Mod(math.Mod(th-at[0], 2*math.Pi)+2*math.Pi, 2*math.Pi) + at[0]
		i := knots - 1
		for i > 0 && at[i] > th {
			i--
		}
		end := at[0] + 2*math.Pi
		if i+1 < knots {
			end = at[i+1]
		}
		u := (th - at[i]) / (end - at[i])
		p := func(k int) float64 { return z[(i+k+knots)%knots] }
		a, b, c, d := p(-1), p(0), p(1), p(2)
		return b + u/2*(c-a+u*(2*a-5*b+4*c-d+u*(3*(b-c)+d-a)))
	}
}

// stepped is a table of two to four plates of unequal height.
func stepped(r *rand.Rand) relief {
	n := 2 + r.IntN(3)
	edge, z := make([]float64, n), make([]float64, n)
	from := 2 * math.Pi * r.Float64()
	for i := range edge {
		edge[i], z[i] = 2*math.Pi*(float64(i)+0.7*r.Float64())/float64(n), r.NormFloat64()
	}
	return func(th float64) float64 {
		th = math.Mod(math.Mod(th-from, 2*math.Pi)+2*math.Pi, 2*math.Pi)
		h := z[n-1]
		for i := range edge {
			if th >= edge[i] {
				h = z[i]
			}
		}
		return h
	}
}

// wavy has one high order, as left by a worn grinder, on a saddle.
func wavy(r *rand.Rand) relief {
	k, a, b := float64(7+r.IntN(24)), 2*math.Pi*r.Float64(), 2*math.Pi*r.Float64()
	share := r.Float64()
	return func(th float64) float64 { return share*math.Cos(k*th+a) + (1-share)*math.Cos(2*th+b) }
}

// fewWaves has some of the low orders, falling off with the order, as a frame that bends or a scraped plate leaves
// them.
func fewWaves(r *rand.Rand) relief {
	type wave struct{ order, size, phase float64 }
	var waves []wave
	size := logUniform(r, 0.0005, 0.005)
	for _, k := range []float64{2, 3, 4, 5, 7} {
		if r.IntN(2) == 0 {
			waves = append(waves, wave{k, size * math.Pow(k/2, -1.7) * (0.5 + r.Float64()), 2 * math.Pi * r.Float64()})
		}
	}
	return func(th float64) (z float64) {
		for _, w := range waves {
			z += w.size * math.Cos(w.order*th+w.phase)
		}
		return z
	}
}

// dented has one dent or burr with smooth flanks. It is a fault of the surface and not part of its plane.
func dented(r *rand.Rand, depth float64) relief {
	mid, half := 2*math.Pi*r.Float64(), (3+12*r.Float64())*math.Pi/180
	return func(th float64) float64 {
		x := math.Remainder(th-mid, 2*math.Pi) / half
		if math.Abs(x) >= 1 {
			return 0
		}
		return depth * (1 + math.Cos(math.Pi*x)) / 2
	}
}

func onTop(parts ...relief) relief {
	return func(th float64) (z float64) {
		for _, p := range parts {
			z += p(th)
		}
		return z
	}
}
