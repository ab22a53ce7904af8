package mixed

import (
	"math"
	"slices"
)

// Two indicators on one bar err together where the bar does: both rise and fall with a bar that heaves, and one gains
// what the other loses where it rocks. The slow noise of the two then has a correlation. Their sum and their difference
// (each over the square root of two) have none, whatever it is: the slow part of the sum has 1 + correlation times the
// variance of one indicator's, that of the difference 1 - correlation times, and the white noise stays as it was. So
// blocks that both indicators read at one time are put to the filter as sums and differences, each a track of its own.

// The runs of a pair: sums, differences, and of either indicator what the other did not read at the time.
const (
	pairSum = iota
	pairDifference
	pairFirst
	pairSecond
	pairRuns
)

// correlations of the slow noise of two indicators that are tried, with either sign: half of it common, and nearly all
// (chosen).
var correlations = []float64{0.7, 0.97}

// pairedShare is the share of blocks that both indicators must have read for there to be a pair (chosen).
const pairedShare = 0.7

// pair is the blocks of two indicators, sorted into runs.
type pair struct{ runs [pairRuns][]mate }

// mate is a row of a run, and the numbers of its blocks among those of the fit: of one indicator's alone the second is
// -1.
type mate struct {
	b   block
	row []float64
	of  [2]int
}

// newPair sorts the blocks of two tracks, each in the order of time; nil where there are not two or too few blocks go
// together.
func newPair(bs []block, rows [][]float64) *pair {
	if len(bs) < denseSegments || bs[len(bs)-1].track != 1 {
		return nil
	}
	order := make([]int, len(bs))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, k int) int {
		switch {
		case bs[i].t < bs[k].t:
			return -1
		case bs[i].t > bs[k].t:
			return 1
		}
		return 0
	})
	p := &pair{}
	var sort pairing
	take := func(run int, m mate) { p.runs[run] = append(p.runs[run], m) }
	for _, i := range order {
		sort.push(mate{bs[i], rows[i], [2]int{i, -1}}, take)
	}
	sort.flush(take)
	if float64(2*len(p.runs[pairSum])) < pairedShare*float64(len(bs)) {
		return nil
	}
	return p
}

// pairing holds blocks that wait for what the other indicator read at the time.
type pairing struct{ waiting [2][]mate }

func (p *pairing) clone() pairing {
	return pairing{[2][]mate{slices.Clone(p.waiting[0]), slices.Clone(p.waiting[1])}}
}

// push takes one more block, and gives what is complete by it.
func (p *pairing) push(m mate, give func(run int, m mate)) {
	other := &p.waiting[1-m.b.track]
	for len(*other) > 0 {
		first := (*other)[0]
		if math.Abs(first.b.t-m.b.t) <= (first.b.seconds()+m.b.seconds())/4 {
			*other = (*other)[1:]
			if m.b.track == 0 {
				first, m = m, first
			}
			sum, difference := first, first
			sum.b.t, sum.b.noise = (first.b.t+m.b.t)/2, (first.b.noise+m.b.noise)/2
			difference.b, sum.of[1] = sum.b, m.of[0]
			difference.of = sum.of
			sum.row, difference.row = make([]float64, len(m.row)), make([]float64, len(m.row))
			for j, x := range first.row {
				sum.row[j], difference.row[j] = (x+m.row[j])/math.Sqrt2, (x-m.row[j])/math.Sqrt2
			}
			give(pairSum, sum)
			give(pairDifference, difference)
			return
		}
		if first.b.t > m.b.t {
			break
		}
		give(pairFirst+first.b.track, first)
		*other = (*other)[1:]
	}
	p.waiting[m.b.track] = append(p.waiting[m.b.track], m)
}

// flush gives what still waits, each for itself.
func (p *pairing) flush(give func(run int, m mate)) {
	for k := range p.waiting {
		for _, m := range p.waiting[k] {
			give(pairFirst+k, m)
		}
		p.waiting[k] = nil
	}
}

// of returns the noise of one run of a pair.
func (nz noise) of(run int) noise {
	switch run {
	case pairSum:
		nz.slow *= 1 + nz.together
	case pairDifference:
		nz.slow *= 1 - nz.together
	}
	nz.together = 0
	return nz
}

// whitenPair is whiten for two indicators whose slow noise goes together.
func (d *design) whitenPair(nz noise) (gram sym, logDet float64) {
	gram = newSym(d.cols)
	for run, mates := range d.pair.runs {
		one := *d
		one.rows = nil
		var bs []block
		for _, m := range mates {
			bs, one.rows = append(bs, m.b), append(one.rows, m.row)
		}
		g, det := one.whiten(bs, nz.of(run))
		for i, v := range g.a {
			gram.a[i] += v
		}
		logDet += det
	}
	return gram, logDet
}

// ofSlow is the covariance, relative to the white noise, that one slow process makes in sums of the readings with the
// given parts.
func (p *pair) ofSlow(correlation, slow, tau float64, parts [2][]float64) (cov [3]float64) {
	nz := noise{slow: slow, together: correlation}
	for run, mates := range p.runs {
		variance := nz.of(run).slow
		var before [2]float64 // what of the parts so far is left of the process
		for i, m := range mates {
			fade := 0.0
			if i > 0 {
				fade = math.Exp(-math.Abs(m.b.t-mates[i-1].b.t) / tau)
			}
			var now [2]float64
			for k := range now {
				if parts[k] == nil {
					continue
				}
				now[k] = parts[k][m.of[0]]
				switch run {
				case pairSum:
					now[k] = (now[k] + parts[k][m.of[1]]) / math.Sqrt2
				case pairDifference:
					now[k] = (now[k] - parts[k][m.of[1]]) / math.Sqrt2
				}
				before[k] *= fade
			}
			cov[0] += variance * now[0] * (now[0] + 2*before[0])
			cov[1] += variance * (now[0]*now[1] + now[0]*before[1] + now[1]*before[0])
			cov[2] += variance * now[1] * (now[1] + 2*before[1])
			for k := range now {
				before[k] += now[k]
			}
		}
	}
	return cov
}
