// Package linetest makes up readings along straight lines whose truth is known, for tests. It shares no code with what
// fits them.
package linetest

import (
	"math"
	"math/rand/v2"
)

// Scene is how a line is read.
type Scene struct {
	Name      string
	Places    int     // positions, evenly set
	Passes    int     // times over the line, there and back in turn
	Seconds   float64 // from one reading to the next
	Length    float64 // mm
	Bow, Wave float64 // mm: height of a bow, and of two and a half waves along the line
	White     float64 // mm: standard deviation of noise from reading to reading
	Slow, Tau float64 // mm and seconds: of noise that is correlated exponentially
	Step      float64 // mm: of the display
	Outliers  float64 // share of readings that are far off
	Slot      float64 // mm: width of a slot across the line
	Scale     float64 // mm: rectangular error between the ends, as of an edge or an indicator within its certificate
	Uneven    bool    // positions that are not evenly set
	Drift     float64 // mm: of warming that levels off, over the whole
}

// Line is what was read, and the truth.
type Line struct {
	T, X, Z      []float64
	Slope        float64 // mm per mm, of the least-squares line
	Straightness float64 // minimum zone of the true form at the places, by a search
}

// Draw reads one line.
func (s Scene) Draw(r *rand.Rand) Line {
	l := Line{Slope: 0.2e-3 * r.NormFloat64()}
	phase := 2 * math.Pi * r.Float64()
	bow := s.Bow * r.NormFloat64()
	form := func(x float64) float64 {
		u := 2*x/s.Length - 1
		return bow*(1-u*u) + s.Wave*math.Sin(2.5*2*math.Pi*x/s.Length+phase)
	}
	tilt := slope(form, s.Length) // of the form alone, so that the slope is that of the least-squares line
	places := make([]float64, s.Places)
	for i := range places {
		places[i] = s.Length * float64(i) / float64(s.Places-1)
		if s.Uneven && i > 0 && i < s.Places-1 {
			places[i] += s.Length / float64(s.Places) * 0.6 * (r.Float64() - 0.5)
			places[i] = math.Round(places[i]*10) / 10
		}
	}
	end := s.Scale * (2*r.Float64() - 1)
	height := r.NormFloat64()
	slotAt := s.Length * (0.1 + 0.7*r.Float64())
	slow := s.Slow * r.NormFloat64()
	fade := math.Exp(-s.Seconds / math.Max(s.Tau, 1e-9))
	t, drift, levels := 0.0, s.Drift*r.NormFloat64(), 0.3+2*r.Float64()
	whole := s.Seconds * float64(s.Places*s.Passes)
	for pass := range s.Passes {
		for k := range places {
			x := places[k]
			if pass%2 == 1 {
				x = places[len(places)-1-k]
			}
			z := height + l.Slope*x + form(x) - tilt*x + end*x/s.Length + s.White*r.NormFloat64() + slow +
				drift*(1-math.Exp(-t/(levels*whole)))
			if x > slotAt && x < slotAt+s.Slot {
				z -= 0.4
			}
			if r.Float64() < s.Outliers {
				z += (0.02 + 0.2*r.Float64()) * float64(1-2*r.IntN(2))
			}
			if s.Step > 0 {
				z = math.Round(z/s.Step) * s.Step
			}
			l.T, l.X, l.Z = append(l.T, t), append(l.X, x), append(l.Z, z)
			t += s.Seconds
			slow = fade*slow + s.Slow*math.Sqrt(1-fade*fade)*r.NormFloat64()
		}
	}
	fine := make([]float64, 0, 400)
	xs := make([]float64, 0, 400)
	for i := range 400 {
		xs = append(xs, s.Length*float64(i)/399)
		fine = append(fine, form(xs[i]))
	}
	l.Straightness = narrowest(xs, fine)
	return l
}

// slope is that of the least-squares line of a form, by adding up finely.
func slope(form func(float64) float64, length float64) float64 {
	var xz, xx float64
	for i := range 2001 {
		x := length*float64(i)/2000 - length/2
		xz += x * form(x+length/2)
		xx += x * x
	}
	return xz / xx
}

// narrowest is the least distance of two parallel lines about points, by narrowing in on the slope.
func narrowest(x, z []float64) float64 {
	width := func(s float64) float64 {
		lo, hi := math.Inf(1), math.Inf(-1)
		for i := range x {
			lo, hi = math.Min(lo, z[i]-s*x[i]), math.Max(hi, z[i]-s*x[i])
		}
		return hi - lo
	}
	a, b := -1e-3, 1e-3
	for range 60 {
		p, q := a+(b-a)/3, b-(b-a)/3
		if width(p) < width(q) {
			b = q
		} else {
			a = p
		}
	}
	return width((a + b) / 2)
}
