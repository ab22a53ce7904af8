package drift

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

// A third workshop, by which dates are held to be a first passage: its machines move in several ways at once, at any ratio, and
// what counts is whether they were outside at any moment up to the date. It shares no code with the other two.

// mover makes the truth of one axis; s is the scatter of a check, gap the usual days between checks, span the record's length.
type mover struct {
	name  string
	leans float64 // mm/m for a kelvin in scatters, at most
	warm  bool    // and the temperature is recorded
	make  func(r *rand.Rand, gap, s, span, limit float64) func(day float64) float64
}

// spread is drawn evenly on a logarithmic scale.
func spread(r *rand.Rand, low, high float64) float64 { return low * math.Pow(high/low, r.Float64()) }

func either(r *rand.Rand) float64 { return float64(2*r.IntN(2) - 1) }

// jittery is a random walk with a standard deviation of q after one day, between grid points by a straight line.
func jittery(r *rand.Rand, q, gap float64) func(day float64) float64 {
	const parts = 8
	at := []float64{0}
	return func(day float64) float64 {
		x := day / gap * parts
		for float64(len(at)) < x+2 {
			at = append(at, at[len(at)-1]+q*math.Sqrt(gap/parts)*r.NormFloat64())
		}
		i := int(x)
		return at[i] + (at[i+1]-at[i])*(x-float64(i))
	}
}

func movers() []mover {
	place := func(r *rand.Rand, limit float64) float64 { return limit * (1.2*r.Float64() - 0.6) }
	return []mover{
		{name: "trending", make: func(r *rand.Rand, gap, s, span, limit float64) func(float64) float64 {
			at, rate := place(r, limit), either(r)*s*spread(r, 0.05, 0.6)/gap
			return func(t float64) float64 { return at + rate*t }
		}},
		{name: "wandering", make: func(r *rand.Rand, gap, s, span, limit float64) func(float64) float64 {
			at, w := place(r, limit), jittery(r, s*spread(r, 0.1, 1)/math.Sqrt(gap), gap)
			return func(t float64) float64 { return at + w(t) }
		}},
		{name: "trending and wandering", make: func(r *rand.Rand, gap, s, span, limit float64) func(float64) float64 {
			at, rate := place(r, limit), either(r)*s*spread(r, 0.05, 0.6)/gap
			w := jittery(r, s*spread(r, 0.05, 0.6)/math.Sqrt(gap), gap)
			return func(t float64) float64 { return at + rate*t + w(t) }
		}},
		{name: "trending fast and wandering much", make: func(r *rand.Rand, gap, s, span, limit float64) func(float64) float64 {
			at, rate := place(r, limit), either(r)*s*spread(r, 0.15, 0.6)/gap
			w := jittery(r, s*spread(r, 0.1, 0.4)/math.Sqrt(gap), gap)
			return func(t float64) float64 { return at + rate*t + w(t) }
		}},
		{name: "slipping", make: func(r *rand.Rand, gap, s, span, limit float64) func(float64) float64 {
			at, every := place(r, limit), gap*spread(r, 0.5, 3)
			size := s * spread(r, 0.15, 1) * math.Sqrt(every/gap)
			days, levels := []float64{0}, []float64{at}
			return func(t float64) float64 {
				for days[len(days)-1] <= t {
					days, levels = append(days, days[len(days)-1]+every*r.ExpFloat64()), append(levels, levels[len(levels)-1]+size*r.NormFloat64())
				}
				i := len(days) - 1
				for days[i] > t {
					i--
				}
				return levels[i]
			}
		}},
		{name: "wearing ever faster", make: func(r *rand.Rand, gap, s, span, limit float64) func(float64) float64 {
			at, rate, doubles := place(r, limit), either(r)*s*spread(r, 0.03, 0.3)/gap, span*spread(r, 0.7, 3)
			return func(t float64) float64 { return at + rate*doubles/math.Ln2*(math.Exp2(t/doubles)-1) }
		}},
		{name: "held on a spring", make: func(r *rand.Rand, gap, s, span, limit float64) func(float64) float64 {
			at, width, pull := place(r, limit)/2, s*spread(r, 0.5, 3), gap*spread(r, 3, 30)
			const parts = 8
			kept := math.Exp(-gap / parts / pull)
			path := []float64{width * r.NormFloat64()}
			return func(t float64) float64 {
				x := t / gap * parts
				for float64(len(path)) < x+2 {
					path = append(path, kept*path[len(path)-1]+width*math.Sqrt(1-kept*kept)*r.NormFloat64())
				}
				i := int(x)
				return at + path[i] + (path[i+1]-path[i])*(x-float64(i))
			}
		}},
		{name: "leaning with the season, recorded", leans: 1, warm: true, make: seasonal},
		{name: "leaning with the season, not recorded", leans: 1, make: seasonal},
		{name: "trending and wandering after a step", make: func(r *rand.Rand, gap, s, span, limit float64) func(float64) float64 {
			at, rate := place(r, limit)/2, either(r)*s*spread(r, 0.05, 0.4)/gap
			w := jittery(r, s*spread(r, 0.05, 0.4)/math.Sqrt(gap), gap)
			when, by := span*(0.3+0.4*r.Float64()), either(r)*s*spread(r, 3, 8)
			return func(t float64) float64 {
				if t < when {
					return at + rate*t + w(t)
				}
				return at + rate*t + w(t) + by
			}
		}},
		{name: "still after a step", make: func(r *rand.Rand, gap, s, span, limit float64) func(float64) float64 {
			at, when, by := place(r, limit)/2, span*(0.3+0.4*r.Float64()), either(r)*s*spread(r, 3, 8)
			return func(t float64) float64 {
				if t < when {
					return at
				}
				return at + by
			}
		}},
		{name: "still", make: func(r *rand.Rand, gap, s, span, limit float64) func(float64) float64 {
			at := place(r, limit)
			return func(float64) float64 { return at }
		}},
	}
}

// seasonal is what a machine that leans with the temperature does besides.
func seasonal(r *rand.Rand, gap, s, span, limit float64) func(day float64) float64 {
	at, w := limit*(r.Float64()-0.5), jittery(r, s*spread(r, 0.02, 0.3)/math.Sqrt(gap), gap)
	return func(t float64) float64 { return at + w(t) }
}

// passages is what became of the dates of one kind of machine.
type passages struct {
	dates, at, ever   int     // by chance; outside at the date; outside at any moment up to it
	short, shortEver  int     // cut short; outside at any moment up to then
	now               int     // due at once
	ahead, aheadShort float64 // log of the days ahead over the usual gap, and over the record where cut short
	axes, held        int
}

func (p *passages) add(o passages) {
	p.dates, p.at, p.ever, p.short, p.shortEver, p.now = p.dates+o.dates, p.at+o.at, p.ever+o.ever, p.short+o.short, p.shortEver+o.shortEver, p.now+o.now
	p.ahead, p.aheadShort, p.axes, p.held = p.ahead+o.ahead, p.aheadShort+o.aheadShort, p.axes+o.axes, p.held+o.held
}

func share(k, n int) float64 { return float64(k) / float64(max(1, n)) }

// pass draws machines of a kind, has each checked n times and asks for its date.
func pass(t testing.TB, m mover, n, machines int, seed uint64) passages {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 77*uint64(n)))
	var out passages
	for range machines {
		limit := spread(r, 0.03, 0.12)
		gap := []float64{0.5, 1, 1, 3, 7}[r.IntN(5)]
		u := limit * spread(r, 0.02, 0.08)
		s := u * math.Hypot(1, 1.5*r.Float64())
		span := gap * float64(n)
		var truth [2]func(float64) float64
		air := func(float64) float64 { return 0 }
		if m.leans > 0 {
			mean, year, season, off := 16.0, 2+5*r.Float64(), 2*math.Pi*r.Float64(), jittery(r, 0.8, 1)
			air = func(t float64) float64 {
				return mean + year*math.Sin(2*math.Pi*t/365.25+season) + 2*math.Tanh(off(t)/3)
			}
		}
		for i := range truth {
			moves, perK := m.make(r, gap, s, span, limit), m.leans*s*spread(r, 0.15, 1)*either(r)
			truth[i] = func(t float64) float64 { return moves(t) + perK*(air(t)-16) }
		}
		tr, day := New(), 0.0
		for k := range n {
			c := Check{Time: at(day), Limit: limit, SpindleHours: math.NaN()}
			for i := range c.Axis {
				c.Axis[i] = &Value{truth[i](day) + s*r.NormFloat64(), u}
			}
			if m.warm {
				celsius := air(day)
				c.TemperatureC = &celsius
			}
			if _, err := tr.Check(c); err != nil {
				t.Fatal(err)
			}
			if k < n-1 {
				day += gap * (0.5 + r.Float64())
			}
		}
		outside := func(t float64) bool { return max(math.Abs(truth[0](t)), math.Abs(truth[1](t))) > limit }
		for i, x := range tr.Now() {
			out.axes++
			if math.Abs(x.Level-truth[i](day)) <= 1.96*x.U {
				out.held++
			}
		}
		f := tr.Forecast(0.95)
		if outside(day) || f.Next == nil {
			continue
		}
		ever := false
		for k := range 400 {
			ever = ever || outside(day+f.Next.Days*float64(k+1)/400)
		}
		switch f.Next.LimitedBy {
		case ByChance:
			out.dates++
			out.ahead += math.Log(f.Next.Days / gap)
			if outside(day + f.Next.Days) {
				out.at++
			}
			if ever {
				out.ever++
			}
		case ByRisk, ByOutside:
			out.now++
		default:
			out.short++
			out.aheadShort += f.Next.Days / day
			if ever {
				out.shortEver++
			}
		}
	}
	return out
}

func (p passages) row(name string, n int) string {
	return fmt.Sprintf("| %s | %d | %d | %.1f %% | %.1f %% | %.1f | %d | %.1f %% | %d | %.1f %% |\n", name, n, p.dates, 100*share(p.at, p.dates), 100*share(p.ever, p.dates),
		math.Exp(p.ahead/float64(max(1, p.dates))), p.short, 100*share(p.shortEver, p.short), p.now, 100*share(p.held, p.axes))
}

func TestPassages(t *testing.T) {
	if !*studyOn {
		t.Skip()
	}
	began := time.Now()
	for _, m := range movers() {
		var all passages
		for _, n := range []int{10, 20, 40, 80} {
			p := pass(t, m, n, *studySize, *studySeed)
			all.add(p)
			fmt.Print(p.row(m.name, n))
		}
		fmt.Print(all.row(m.name+" ALL", 0))
	}
	fmt.Println(time.Since(began))
}
