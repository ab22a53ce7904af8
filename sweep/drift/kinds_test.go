package drift

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"sync"
	"testing"
)

// mover is a kind of machine: the truth of one axis over a record of so many checks.
type mover struct {
	name  string
	moves bool // leaves its tolerance by itself sooner or later
	truth func(r *rand.Rand, gap, s, limit float64, n int) func(day float64) float64
}

func between(r *rand.Rand, low, high float64) float64 { return low * math.Pow(high/low, r.Float64()) }

func either(r *rand.Rand) float64 { return float64(2*r.IntN(2) - 1) }

// movers are the kinds that the dates are held against one by one.
func movers() []mover {
	var out []mover
	for _, m := range machines() {
		out = append(out, mover{m.name, m.name == "wandering" || m.name == "trending", func(r *rand.Rand, gap, s, limit float64, n int) func(float64) float64 {
			return m.truth(r, gap, s, limit)
		}})
	}
	both := func(low, high, qlow, qhigh float64) func(r *rand.Rand, gap, s, limit float64, n int) func(float64) float64 {
		return func(r *rand.Rand, gap, s, limit float64, n int) func(float64) float64 {
			rate := either(r) * s * between(r, low, high) / gap
			w := walk(r, level(r, limit), s*between(r, qlow, qhigh)/math.Sqrt(gap), gap/4)
			return func(t float64) float64 { return w(t) + rate*t }
		}
	}
	stepped := func(then func(r *rand.Rand, gap, s float64) func(float64) float64) func(r *rand.Rand, gap, s, limit float64, n int) func(float64) float64 {
		return func(r *rand.Rand, gap, s, limit float64, n int) func(float64) float64 {
			at, by, when := level(r, limit), either(r)*s*between(r, 3, 8), gap*float64(n)*(0.3+0.4*r.Float64())
			if at*by > 0 {
				by = -by
			}
			more := then(r, gap, s)
			return func(t float64) float64 {
				x := at + more(t)
				if t >= when {
					x += by
				}
				return x
			}
		}
	}
	return append(out,
		mover{"trend and wander", true, both(0.15, 0.6, 0.1, 0.4)},
		mover{"slow trend and wander", true, both(0.03, 0.3, 0.05, 0.3)},
		mover{"quickening", true, func(r *rand.Rand, gap, s, limit float64, n int) func(float64) float64 {
			at, rate, in := level(r, limit), either(r)*s*between(r, 0.02, 0.2)/gap, gap*float64(n)*between(r, 1, 4)
			return func(t float64) float64 { return at + rate*t*(1+t/in) }
		}},
		mover{"leaning with an unseen season", true, func(r *rand.Rand, gap, s, limit float64, n int) func(float64) float64 {
			at, by, phase := level(r, limit), s*between(r, 1, 6), 2*math.Pi*r.Float64()
			return func(t float64) float64 { return at + by*math.Sin(2*math.Pi*t/year+phase) }
		}},
		mover{"stepped", false, stepped(func(*rand.Rand, float64, float64) func(float64) float64 { return func(float64) float64 { return 0 } })},
		mover{"stepped, trending", true, stepped(func(r *rand.Rand, gap, s float64) func(float64) float64 {
			rate := either(r) * s * between(r, 0.03, 0.3) / gap
			return func(t float64) float64 { return rate * t }
		})},
		mover{"stepped, wandering", true, stepped(func(r *rand.Rand, gap, s float64) func(float64) float64 {
			return walk(r, 0, s*between(r, 0.1, 0.6)/math.Sqrt(gap), gap/4)
		})},
	)
}

// tally is what became of the dates of one kind.
type tally struct {
	calibration
	passed, boundedPassed int     // outside at any moment up to the date
	all                   float64 // days ahead of every date, as a multiple of the record
	dated                 int
}

func (c *tally) add(o tally) {
	c.calibration.add(o.calibration)
	c.passed += o.passed
	c.boundedPassed += o.boundedPassed
	c.all += o.all
	c.dated += o.dated
}

func (c *tally) ask(tr *Tracker, last float64, truth [2]func(day float64) float64, outside func(day float64) bool) {
	for i, x := range tr.Now() {
		c.axes++
		if math.Abs(x.Level-truth[i](last)) <= 1.96*x.U {
			c.held++
		}
	}
	if outside(last) {
		return
	}
	before := c.calibration
	next := tr.due(0.05)
	h := next.Days
	switch next.LimitedBy {
	case ByChance:
		c.due++
		c.ahead += h / last
		if outside(last + h) {
			c.outside++
		}
	case ByRisk, ByOutside:
		c.now++
		return
	default:
		c.bounded++
	}
	c.all += h / last
	c.dated++
	ever := false
	for i := 0; i <= 60 && !ever; i++ {
		ever = outside(last + h*float64(i)/60)
	}
	if ever {
		if c.due > before.due {
			c.passed++
		} else {
			c.boundedPassed++
		}
	}
}

func datesOf(m mover, n, machines int, seed uint64) tally {
	r := rand.New(rand.NewPCG(seed, uint64(n)))
	var out tally
	for range machines {
		h := draw(r, machine{m.name, func(r *rand.Rand, gap, s, limit float64) func(float64) float64 { return m.truth(r, gap, s, limit, n) }}, n, 1)
		tr := New()
		tr.draws = 600
		for _, c := range h.checks {
			if _, err := tr.Check(c); err != nil {
				panic(err)
			}
		}
		out.ask(tr, h.days[n-1], h.truth, h.outside)
	}
	return out
}

func otherDatesOf(k otherKind, n, machines int, seed uint64) tally {
	r := rand.New(rand.NewPCG(seed, 1000+uint64(n)))
	var out tally
	for range machines {
		o := otherDraw(r, k, n)
		tr := New()
		tr.draws = 600
		for _, c := range o.checks {
			if _, err := tr.Check(c); err != nil {
				panic(err)
			}
		}
		out.ask(tr, o.last, o.truth, o.out)
	}
	return out
}

func TestHarness(t *testing.T) {
	if os.Getenv("HARNESS") == "" {
		return
	}
	var size int
	var seed uint64
	fmt.Sscan(os.Getenv("HARNESS"), &size, &seed)
	type job struct {
		name  string
		moves bool
		n     int
		run   func() tally
		out   tally
	}
	var jobs []*job
	ns := []int{10, 20, 40, 80}
	if s := os.Getenv("NS"); s != "" {
		ns = nil
		for _, x := range strings.Fields(s) {
			n, _ := strconv.Atoi(x)
			ns = append(ns, n)
		}
	}
	if s := os.Getenv("TUNE"); s != "" {
		for i, x := range strings.Fields(s) {
			tune[i], _ = strconv.ParseFloat(x, 64)
		}
	}
	for _, m := range movers() {
		for _, n := range ns {
			jobs = append(jobs, &job{m.name, m.moves, n, func() tally { return datesOf(m, n, size, seed) }, tally{}})
		}
	}
	for _, k := range otherKinds() {
		for _, n := range ns {
			jobs = append(jobs, &job{k.name + " (2)", k.moves, n, func() tally { return otherDatesOf(k, n, size, seed) }, tally{}})
		}
	}
	var wg sync.WaitGroup
	next := make(chan *job)
	for range 2 {
		wg.Add(1)
		go func() {
			for j := range next {
				j.out = j.run()
			}
			wg.Done()
		}()
	}
	for _, j := range jobs {
		next <- j
	}
	close(next)
	wg.Wait()
	pc := func(a, b int) string {
		if b < 10 {
			return fmt.Sprintf("   - /%3d", b)
		}
		return fmt.Sprintf("%4.1f /%3d", 100*float64(a)/float64(b), b)
	}
	last, sum := "", tally{}
	flush := func(moves bool) {
		if last != "" {
			fmt.Printf("%-32s all  due %s  ever %s | cut %s | ahead %.2f all %.2f | level %.1f\n", last, pc(sum.outside, sum.due), pc(sum.passed, sum.due),
				pc(sum.boundedPassed, sum.bounded), sum.ahead/float64(max(1, sum.due)), sum.all/float64(max(1, sum.dated)), 100*sum.coverage())
		}
	}
	for _, j := range jobs {
		if j.name != last {
			flush(true)
			last, sum = j.name, tally{}
		}
		c := j.out
		sum.add(c)
		fmt.Printf("%-32s %3d  due %s  ever %s | cut %s | ahead %.2f all %.2f | level %.1f | now %d\n", j.name, j.n, pc(c.outside, c.due), pc(c.passed, c.due),
			pc(c.boundedPassed, c.bounded), c.ahead/float64(max(1, c.due)), c.all/float64(max(1, c.dated)), 100*c.coverage(), c.now)
	}
	flush(true)
}
