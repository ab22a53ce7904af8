package advice

import (
	"fmt"
	"math"
	"strings"
)

// shortage is an adjuster whose stock of shims does not reach.
type shortage struct {
	name, unit   string
	needed, most float64 // in all, by size
}

// outOfStock lists the adjusters that need a thicker stack, by what they are believed to do, than all their shims make.
func (c *chooser) outOfStock() (short []shortage) {
	need := c.needed(c.means())
	for j, adj := range c.p.Adjusters {
		if len(adj.StockMM) == 0 || c.b.size[j] == 0 {
			continue
		}
		most := 0.0
		for _, s := range adj.StockMM {
			most += s
		}
		total := math.Abs(c.p.packed[adj.Name] + need[j])
		// Less than a quarter of the limit beyond the stock is no shortage.
		if (total-most)*c.b.size[j] > c.b.limit/4 {
			short = append(short, shortage{adj.Name, adj.unit(), round(total, 0.01), round(most, 1e-6)})
		}
	}
	return short
}

func (a *Answer) shortWords(short []shortage) {
	for _, s := range short {
		a.warn("out_of_stock",
			"%s needs about %s %s in all, and the shims on hand make %s %s at most: get thicker ones, about %s %s more, and add them to stock_mm",
			s.name, plain(s.needed), s.unit, plain(s.most), s.unit, plain(round(s.needed-s.most, 0.01)), s.unit)
	}
}

// outOfStockWords says that the lean stays outside for want of shims: nothing is done.
func (a *Answer) outOfStockWords(short []shortage) {
	var names []string
	for _, s := range short {
		names = append(names, s.name)
	}
	a.Why = fmt.Sprintf(
		"The machine is outside, and the shims on hand for %s are used up. Get thicker ones, then ask again.",
		strings.Join(names, " and "))
	a.shortWords(short)
}

// caution is an adjuster that is moved less than its described effect asks for.
type caution struct {
	name, unit string
	full       float64
}

// cautious lists the adjusters of a move that were never seen to move, and that go short of the full way by what is
// written of them: the move that overshoots costs another, the one that falls short shows the same.
func (c *chooser) cautious(next plan) (out []caution) {
	state := c.means()
	for j := range c.p.Adjusters {
		state[2+2*j], state[3+2*j] = c.b.unitX[j], c.b.unitY[j]
	}
	full := c.undo(state)
	for j, adj := range c.p.Adjusters {
		if next.by[j] == 0 || math.Abs(next.by[j]) >= math.Abs(full[j])*0.99 || c.everMoved(adj.Name) {
			continue
		}
		out = append(out, caution{adj.Name, adj.unit(), full[j]})
	}
	return out
}

// everMoved reports whether a move of the adjuster was measured.
func (c *chooser) everMoved(name string) bool {
	h := c.p.History
	for i := range h[:len(h)-1] {
		if h[i].Moved[name] != 0 {
			return true
		}
	}
	return false
}

func (a *Answer) cautiousWords(cs []caution) {
	for _, x := range cs {
		a.Why += fmt.Sprintf(
			" This is a cautious first move of %s: what it really does has not been measured yet, so it stops short of the full %s %s "+
				"that its description asks for, rather than go past it.", x.name, plain(math.Abs(x.full)), x.unit)
	}
}
