package sweep

import (
	"math"
	"slices"
)

// shiftCell is the mean of the readings of one visit to a part of the circle.
type shiftCell struct {
	key        int
	dir        float64
	n, z, th   float64
	t0, t1, ts float64
	rate       float64
}

// turnsOf gathers the readings of the indicator that gave the most into cells, in the order of time. turns is how far
// the arm went, in either way.
func turnsOf(pts []Point, setup Setup) (cells []shiftCell, turns float64) {
	counts := make([]int, len(setup.Indicators))
	for _, p := range pts {
		if p.Finite() && p.Indicator >= 0 && p.Indicator < len(counts) {
			counts[p.Indicator]++
		}
	}
	if len(counts) == 0 {
		return nil, 0
	}
	which := slices.Index(counts, slices.Max(counts))
	is := func(p *Point) bool { return p.Indicator == which && p.Finite() }
	n, low, high, way := 0, math.Inf(1), math.Inf(-1), 0.0
	var first, last *Point
	for i := range pts {
		p := &pts[i]
		if !is(p) {
			continue
		}
		if n++; n == 1 {
			first, last = p, p
		}
		if p.T < last.T {
			return nil, 0
		}
		way += math.Abs(p.Angle - last.Angle)
		low, high, last = min(low, p.Angle), max(high, p.Angle), p
	}
	if n == 0 {
		return nil, 0
	}
	if high-low > maxTurns || way > 1000*(high-low) { // trembling on the spot is no turning
		return nil, 0
	}
	turns = (high - low) / (2 * math.Pi)
	if turns < shiftTurns {
		return nil, turns
	}
	per := math.Min(shiftCells, math.Max(16, 600/turns))
	per = math.Min(per, math.Max(8, float64(n)/(2*turns))) // few readings: two in a cell
	dir, far := 1.0, first.Angle                           // which way the arm goes, by more than a tremble
	const tremble = 0.05
	for i := range pts {
		p := &pts[i]
		if !is(p) {
			continue
		}
		if (p.Angle-far)*dir > 0 {
			far = p.Angle
		} else if (far-p.Angle)*dir > tremble {
			dir, far = -dir, p.Angle
		}
		key := int(math.Floor((p.Angle - low) / (2 * math.Pi) * per))
		k := len(cells) - 1
		for ; k >= 0 && k >= len(cells)-2; k-- {
			if cells[k].key == key && cells[k].dir == dir {
				break
			}
		}
		if k < 0 || k < len(cells)-2 {
			cells, k = append(cells, shiftCell{key: key, dir: dir, t0: p.T}), len(cells)
		}
		c := &cells[k]
		c.n, c.z, c.th, c.ts, c.t1 = c.n+1, c.z+setup.Indicators[which].Correct(p.Reading), c.th+p.Angle, c.ts+p.T, p.T
	}
	for i := range cells {
		c := &cells[i]
		c.z, c.th, c.ts = c.z/c.n, c.th/c.n, c.ts/c.n
	}
	for i := range cells {
		a, b := cells[max(0, i-1)], cells[min(len(cells)-1, i+1)]
		if gap := b.ts - a.ts; gap > 0 {
			cells[i].rate = (b.th - a.th) / gap
		}
	}
	return cells, turns
}
