package drift

import (
	"math"
	"math/rand/v2"
	"time"
)

// The machines the model is tried on. Nothing here uses the model: the truth is a function of time made of plain steps,
// so that it can be asked for any moment, and readings are the truth plus what goes wrong at a check.

// machine is the truth of one axis and how it is checked.
type machine struct {
	name  string
	truth func(r *rand.Rand, gap, scatter, limit float64) func(day float64) float64
}

var epoch = time.Date(2026, 1, 5, 7, 0, 0, 0, time.UTC)

func level(r *rand.Rand, limit float64) float64 { return (r.Float64() - 0.5) * limit }

// walk is a random walk of so much a day's root, laid down in small steps as far as it is asked for.
func walk(r *rand.Rand, from, q, fine float64) func(float64) float64 {
	path := []float64{from}
	step := q * math.Sqrt(fine)
	return func(day float64) float64 {
		for float64(len(path)-1)*fine < day+fine {
			path = append(path, path[len(path)-1]+step*r.NormFloat64())
		}
		i := int(day / fine)
		f := day/fine - float64(i)
		return path[i]*(1-f) + path[i+1]*f
	}
}

func machines() []machine {
	return []machine{
		{"steady", func(r *rand.Rand, gap, s, limit float64) func(float64) float64 {
			at := level(r, limit)
			return func(float64) float64 { return at }
		}},
		{"wandering", func(r *rand.Rand, gap, s, limit float64) func(float64) float64 {
			q := s * math.Exp(math.Log(0.1)+r.Float64()*math.Log(10)) / math.Sqrt(gap) // 0.1 to 1 scatter a check
			return walk(r, level(r, limit), q, gap/4)
		}},
		{"trending", func(r *rand.Rand, gap, s, limit float64) func(float64) float64 {
			at, rate := level(r, limit), s*math.Exp(math.Log(0.03)+r.Float64()*math.Log(10))/gap
			if r.IntN(2) == 0 {
				rate = -rate
			}
			return func(t float64) float64 { return at + rate*t }
		}},
		{"settling", func(r *rand.Rand, gap, s, limit float64) func(float64) float64 {
			at, by, tau := level(r, 1.6*limit), s*6*r.NormFloat64(), gap*math.Exp(math.Log(2)+r.Float64()*math.Log(10))
			return func(t float64) float64 { return at + by*math.Exp(-t/tau) }
		}},
		{"settling, then wandering", func(r *rand.Rand, gap, s, limit float64) func(float64) float64 {
			by, tau := s*6*r.NormFloat64(), gap*math.Exp(math.Log(2)+r.Float64()*math.Log(5))
			w := walk(r, level(r, limit), s*(0.1+0.4*r.Float64())/math.Sqrt(gap), gap/4)
			return func(t float64) float64 { return w(t) + by*math.Exp(-t/tau) }
		}},
	}
}

// history is a simulated record: both axes of one kind of machine.
type history struct {
	checks []Check
	truth  [2]func(float64) float64
	days   []float64
	limit  float64
}

// draw makes n checks of a machine, the gaps between them irregular, u given as stated times the truth, the arm clamped
// again with a scatter that is not stated.
func draw(r *rand.Rand, m machine, n int, stated float64) history {
	const u = 0.004
	limit := 0.0667
	gap := math.Exp(r.Float64()*math.Log(28)) / 4 // 6 hours to a week
	clamping := u * 2 * r.Float64()
	scatter := math.Hypot(u, clamping)
	h := history{limit: limit}
	for i := range h.truth {
		h.truth[i] = m.truth(r, gap, scatter, limit)
	}
	day := 0.0
	for range n {
		c := Check{Time: epoch.Add(duration(day)), Limit: limit, SpindleHours: math.NaN()}
		for i := range c.Axis {
			c.Axis[i] = &Value{h.truth[i](day) + scatter*r.NormFloat64(), u * stated}
		}
		h.checks, h.days = append(h.checks, c), append(h.days, day)
		day += gap * (0.5 + r.Float64())
	}
	return h
}

func (h history) outside(day float64) bool {
	return math.Abs(h.truth[0](day)) > h.limit || math.Abs(h.truth[1](day)) > h.limit
}
