package advice

import (
	"cmp"
	"math"
	"slices"
	"sort"
)

// grid is what amounts of one adjuster exist, as changes from where it is now.
type grid struct {
	step  float64   // whole multiples; never 0
	list  []float64 // sorted changes; nil: multiples of step
	bound float64   // largest change either way
}

func newGrid(p *Problem, j int, b *belief) grid {
	a := p.Adjusters[j]
	g := grid{step: a.Step}
	if b.size[j] == 0 {
		return g
	}
	// An adjuster believed weak may need more than its nominal amount, but not the whole workshop's travel.
	x, _ := b.moments(0)
	y, _ := b.moments(1)
	g.bound = math.Min((5*math.Hypot(x, y)+5*b.limit)/b.size[j], maxAmount)
	if g.step == 0 {
		g.step = roundStep(0.1 * b.limit / b.size[j])
	}
	if len(a.StockMM) > 0 {
		g.list = stacks(a.StockMM, p.packed[a.Name])
	}
	g.bound = math.Max(g.bound, g.step)
	return g
}

// roundStep is the round amount (1, 2 or 5 of some decade) at or below x: a hand does not set finer than that.
func roundStep(x float64) float64 {
	decade := math.Pow(10, math.Floor(math.Log10(x)))
	for _, k := range [2]float64{5, 2} {
		if k*decade <= x {
			return k * decade
		}
	}
	return decade
}

func (g grid) nearest(v float64) float64 {
	v = math.Max(-g.bound, math.Min(g.bound, v))
	if g.list != nil {
		i := sort.SearchFloat64s(g.list, v)
		if i == len(g.list) || (i > 0 && v-g.list[i-1] < g.list[i]-v) {
			i--
		}
		return g.list[i]
	}
	if g.step == 0 {
		return 0
	}
	return g.round(math.Round(v / g.step))
}

// shift goes about by away from an amount, at least to its neighbour.
func (g grid) shift(from, by float64) float64 {
	to := g.nearest(from + by)
	if to != from {
		return to
	}
	if g.list != nil {
		i := sort.SearchFloat64s(g.list, from)
		if by > 0 {
			i++
		} else {
			i--
		}
		if i < 0 || i >= len(g.list) {
			return from
		}
		return g.list[i]
	}
	if g.step == 0 || math.Abs(by) < 0.1*g.step {
		return from
	}
	k := math.Round(from/g.step) + math.Copysign(1, by)
	if math.Abs(k*g.step) > g.bound*1.0001 {
		return from
	}
	return g.round(k)
}

// round returns k steps without the dust of binary fractions.
func (g grid) round(k float64) float64 {
	v := k * g.step
	digits := math.Pow(10, math.Ceil(9-math.Log10(math.Max(g.step, 1e-12))))
	if digits > 1e15 || math.IsInf(digits, 0) {
		return v
	}
	return math.Round(v*digits) / digits
}

// maxSums bounds how many different stacks are weighed; a stock that could make more has one near any thickness.
const maxSums = 20000

// maxPieces is the most shims in one stack where there is a choice: common practice, no source, is few thick ones
// rather than many thin. Where those do not reach, the thickest on hand are packed together.
const maxPieces = 4

// stacks lists the changes that shims on hand allow: every sum of a few pieces, packed behind this row or the one
// across from it, less what is packed now. What was packed before comes out and is on hand again.
func stacks(stock []float64, packed float64) []float64 {
	// In nanometres, so that equal sums are one; fewest[s] is the fewest pieces that make s.
	fewest := map[int64]int{0: 0}
	for _, s := range stock {
		piece := int64(math.Round(s * 1e6))
		for _, have := range sortedKeys(fewest) { // as it was before this piece
			n := fewest[have] + 1
			if len(fewest) >= maxSums {
				break
			}
			if old, ok := fewest[have+piece]; n <= maxPieces && (!ok || n < old) {
				fewest[have+piece] = n
			}
		}
	}
	now := int64(math.Round(packed * 1e6))
	out := []float64{0}
	for s := range fewest {
		out = append(out, float64(s-now)/1e6, float64(-s-now)/1e6)
	}
	sort.Float64s(out)
	return slices.Compact(out)
}

// taller adds the stacks of more than maxPieces to the changes: the thickest shims on hand together, one more at a
// time.
func taller(list, stock []float64, packed float64) []float64 {
	thickest := slices.Clone(stock)
	slices.SortFunc(thickest, func(a, b float64) int { return cmp.Compare(b, a) })
	now := int64(math.Round(packed * 1e6))
	var sum int64
	for k, s := range thickest {
		sum += int64(math.Round(s * 1e6))
		if k >= maxPieces {
			list = append(list, float64(sum-now)/1e6, float64(-sum-now)/1e6)
		}
	}
	sort.Float64s(list)
	return slices.Compact(list)
}

// sortedKeys lists the sums largest first, so that a sum made with a piece is not taken for one made without it.
func sortedKeys(m map[int64]int) []int64 {
	out := make([]int64, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	slices.SortFunc(out, func(a, b int64) int { return cmp.Compare(b, a) })
	return out
}

// compose names the fewest pieces on hand that make a thickness, thickest first; nil when there are none.
func compose(stock []float64, thickness float64) []float64 {
	pieces := slices.Clone(stock)
	slices.SortFunc(pieces, func(a, b float64) int { return cmp.Compare(b, a) })
	want := int64(math.Round(thickness * 1e6))
	tries := 0
	var pick func(from, left int, rest int64) []float64
	pick = func(from, left int, rest int64) []float64 {
		if rest == 0 {
			return []float64{}
		}
		for i := from; i < len(pieces) && left > 0 && tries < 1e6; i++ {
			tries++
			if nm := int64(math.Round(pieces[i] * 1e6)); nm <= rest {
				if more := pick(i+1, left-1, rest-nm); more != nil {
					return append([]float64{pieces[i]}, more...)
				}
			}
		}
		return nil
	}
	for n := 1; n <= len(pieces); n++ {
		if got := pick(0, n, want); len(got) > 0 {
			return got
		}
	}
	return nil
}
