package advice

import "math"

// plan is a move in whole amounts of each adjuster.
type plan struct {
	by []float64 // in the adjusters' units
	outlook
	trial bool // to learn by, where the effects are too uncertain to promise anything
}

// searchTerms is how many terms a search looks at.
const searchTerms = 14

// chooser looks for the best move among the amounts that exist.
type chooser struct {
	p     *Problem
	b     *belief
	grid  []grid
	terms []term
	best  plan
	seen  int
}

func newChooser(p *Problem, b *belief) *chooser {
	c := &chooser{p: p, b: b, grid: make([]grid, len(p.Adjusters))}
	for j := range p.Adjusters {
		c.grid[j] = newGrid(p, j, b)
	}
	need := c.needed(c.means())
	for j, a := range p.Adjusters {
		if g := &c.grid[j]; g.list != nil && (need[j] > g.list[len(g.list)-1] || need[j] < g.list[0]) {
			g.list = taller(g.list, a.StockMM, p.packed[a.Name])
		}
	}
	var sum float64
	for i := 0; i < len(b.terms) && (sum < 0.97 && i < searchTerms); i++ {
		sum += b.terms[i].weight
		c.terms = b.terms[:i+1]
	}
	return c
}

// means is the lean and the effects as they are believed to be in the mean.
func (c *chooser) means() []float64 {
	out := make([]float64, 2+2*len(c.p.Adjusters))
	for i := range out {
		out[i], _ = c.b.moments(i)
	}
	return out
}

// stay is the outlook of moving nothing.
func (c *chooser) stay() plan {
	by := make([]float64, len(c.p.Adjusters))
	return plan{by: by, outlook: c.b.foresee(by, 0)}
}

// choose searches from several starts: coordinate by coordinate and in pairs, in shrinking steps of the amounts that
// exist.
func (c *chooser) choose() plan {
	n := len(c.p.Adjusters)
	c.best = plan{by: make([]float64, n), outlook: outlook{cost: math.Inf(1)}}
	for _, s := range c.starts() {
		c.descend(s)
	}
	c.terms = c.b.terms // the search looks at the likely terms, the answer speaks for all
	return c.weigh(c.best.by)
}

// trial is for a belief so torn that no move promises to end nearer: the move that the likeliest reading of the log
// would make, if by that reading it ends clearly nearer. Its answer decides between the readings.
func (c *chooser) trial(otherwise plan) plan {
	t := &c.b.terms[0]
	by := c.undo(t.mean)
	m := make([]float64, len(by))
	for j := range by {
		m[j] = by[j] * c.b.size[j]
	}
	p := t.after(m)
	if norm(m) == 0 || math.Hypot(p.x, p.y) > 0.5*math.Hypot(t.mean[0], t.mean[1]) {
		return otherwise
	}
	pl := c.weigh(by)
	pl.trial = true
	return pl
}

// weigh judges one move; each adjuster that must be loosened costs a little, so that none is loosened for nothing.
func (c *chooser) weigh(by []float64) plan {
	m := make([]float64, len(by))
	touched := 0
	for j, v := range by {
		m[j] = v * c.b.size[j]
		if v != 0 {
			touched++
		}
	}
	c.seen++
	pl := plan{by: append([]float64(nil), by...), outlook: c.b.foreseeBy(c.terms, m, touched)}
	if touched == 0 {
		pl.cost = math.Inf(1)
		return pl
	}
	pl.cost += 0.01*float64(touched) + 1e-4*norm(m)/c.b.limit
	return pl
}

// starts are moves worth beginning at: the one that undoes the lean by the mean effects, by the nominal ones, by those
// of the likeliest terms, and each adjuster by itself.
func (c *chooser) starts() [][]float64 {
	n := len(c.p.Adjusters)
	mean := c.means()
	out := [][]float64{c.undo(mean)}
	for i := range c.b.terms[:min(3, len(c.b.terms))] {
		out = append(out, c.undo(c.b.terms[i].mean))
	}
	for j := range n {
		one := make([]float64, n)
		ex, ey := mean[2+2*j], mean[3+2*j]
		if q := ex*ex + ey*ey; q > 1e-6 {
			one[j] = c.amount(j, -(mean[0]*ex+mean[1]*ey)/q)
		}
		out = append(out, one)
	}
	return out
}

// undo is the smallest move that takes a lean to zero by the given effects, in amounts that exist.
func (c *chooser) undo(state []float64) []float64 {
	out := c.needed(state)
	for j := range out {
		out[j] = c.amount(j, out[j]*c.b.size[j])
	}
	return out
}

// needed is the same whatever amounts exist (least squares, lightly damped).
func (c *chooser) needed(state []float64) []float64 {
	n := len(c.p.Adjusters)
	bxx, bxy, byy := 1e-3, 0.0, 1e-3
	for j := range n {
		ex, ey := state[2+2*j], state[3+2*j]
		bxx += ex * ex
		bxy += ex * ey
		byy += ey * ey
	}
	det := bxx*byy - bxy*bxy
	out := make([]float64, n)
	for j := range n {
		ex, ey := state[2+2*j], state[3+2*j]
		if c.b.size[j] > 0 {
			out[j] = -((byy*ex-bxy*ey)*state[0] + (bxx*ey-bxy*ex)*state[1]) / det / c.b.size[j]
		}
	}
	return out
}

// amount turns a nominal change in mm/m into the nearest amount that exists.
func (c *chooser) amount(j int, nominal float64) float64 {
	if c.b.size[j] == 0 {
		return 0
	}
	return c.grid[j].nearest(nominal / c.b.size[j])
}

func (c *chooser) descend(start []float64) {
	here := c.weigh(start)
	n := len(start)
	reach := 0.4 * math.Max(c.b.limit, math.Hypot(first(c.b.moments(0)), first(c.b.moments(1))))
	for ; reach > 0.02*c.b.limit; reach /= 2 {
		for range 8 {
			moved := false
			for _, dir := range directions(n) {
				by := append([]float64(nil), here.by...)
				same := true
				for j, s := range dir {
					if s == 0 || c.b.size[j] == 0 {
						continue
					}
					by[j] = c.grid[j].shift(here.by[j], s*reach/c.b.size[j])
					same = same && by[j] == here.by[j]
				}
				if same {
					continue
				}
				if next := c.weigh(by); next.cost < here.cost-1e-9 {
					here, moved = next, true
				}
			}
			if !moved {
				break
			}
		}
	}
	for j := range n { // is each of them worth loosening?
		if here.by[j] == 0 {
			continue
		}
		by := append([]float64(nil), here.by...)
		by[j] = 0
		if next := c.weigh(by); next.cost < here.cost {
			here = next
		}
	}
	if here.cost < c.best.cost {
		c.best = here
	}
}

// directions are the single adjusters both ways, and pairs of the first few.
func directions(n int) [][]float64 {
	var out [][]float64
	add := func(j int, a float64, k int, b float64) {
		d := make([]float64, n)
		d[j] = a
		if k >= 0 {
			d[k] = b
		}
		out = append(out, d)
	}
	for j := range n {
		add(j, 1, -1, 0)
		add(j, -1, -1, 0)
	}
	for j := range min(n, 4) {
		for k := range j {
			add(j, 1, k, 1)
			add(j, 1, k, -1)
			add(j, -1, k, 1)
			add(j, -1, k, -1)
		}
	}
	return out
}

func first(a, _ float64) float64 { return a }
