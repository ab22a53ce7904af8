package mixed

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"tramd/sweep"
	"tramd/sweep/uncertainty"
)

// Result returns the lean by all readings so far, the last one included. What only a whole fit tells (form, closure,
// turns, waves) is that of the fit.
func (c *Filter) Result() sweep.Result {
	f := *c.f
	f.followed = c.l
	open, rows, spikes, off := c.open()
	f.bs = append(c.bs, open...) // in the room behind the finished blocks, which the next of them take again
	c.bs = f.bs[:len(c.bs)]
	t0, half := timeSpan(f.bs)
	c.change = c.d.over(t0, half)
	s := searcher{d: c.d, bs: f.bs, l: c.l, known: f.known, least: f.least, gram: map[noiseLevel]white{}}
	for key, k := range c.courses {
		s.gram[key] = c.upTo(k, c.rooms[key], open, rows)
	}
	c.points = c.points[:0]
	for _, g := range c.grid {
		p := s.at(g.h)
		p.weight += g.share
		c.points = append(c.points, p)
	}
	f.points = nil // those of the fit
	f.ans = summarise(c.points)
	if f.ans.best.factor.n == 0 {
		s.held = false
		f.ans.best.factor = s.at(f.ans.best.h).factor
	}
	f.coef = f.ans.best.coefficients(c.d)
	c.now = &solved{f.ans.best, f.coef}
	r := c.said
	r.Warnings = slices.Clone(r.Warnings)
	left := c.rejected + spikes + off
	r.Readings, r.Rejected = c.said.Readings+c.readings-left, c.said.Rejected+left
	f.ans.terms = few(f.ans.terms)
	f.carryOthers()
	if f.seen {
		f.weighStuck()
	}
	f.goesOn = true
	f.offsets(&r)
	f.conclude(&r)
	c.conformity(&f, &r)
	c.warn(&r, off)
	if c.aimless {
		r.Warnings = slices.DeleteFunc(r.Warnings, func(w sweep.Warning) bool {
			return w.Code == sweep.WarnZeroUnknown
		})
		r.HideDirection(f.in.setup.Tolerance)
	}
	return r
}

// fewTerms is how many t distributions stand for the mixture of a live result.
const fewTerms = 8

// few joins terms of like width until few are left, keeping means and covariances.
func few(m uncertainty.Mixture) (out uncertainty.Mixture) {
	if len(m) <= fewTerms {
		return m
	}
	m = slices.Clone(m)
	slices.SortStableFunc(m, func(a, b uncertainty.Term) int {
		return cmp.Compare(a.Cov[0]+a.Cov[2], b.Cov[0]+b.Cov[2])
	})
	var sum, done float64
	for _, t := range m {
		sum += t.Weight
	}
	for i := 0; i < len(m); {
		var g uncertainty.Term
		first := i
		for ; i < len(m) && (i == first || done+m[i].Weight/2 < sum*float64(len(out)+1)/fewTerms); i++ {
			w := m[i].Weight
			done, g.Weight = done+w, g.Weight+w
			for k := range 2 {
				g.Mean[k] += w * m[i].Mean[k]
				g.DoF[k] += w / m[i].DoF[k]
			}
		}
		for k := range 2 {
			g.Mean[k], g.DoF[k] = g.Mean[k]/g.Weight, g.Weight/g.DoF[k]
		}
		for _, t := range m[first:i] {
			w, x, y := t.Weight/g.Weight, t.Mean[0]-g.Mean[0], t.Mean[1]-g.Mean[1]
			g.Cov[0], g.Cov[1], g.Cov[2] = g.Cov[0]+w*(t.Cov[0]+x*x), g.Cov[1]+w*(t.Cov[1]+x*y),
				g.Cov[2]+w*(t.Cov[2]+y*y)
		}
		out = append(out, g)
	}
	return out
}

// judgedEvery is how often, in seconds of readings, the probability that both axes conform is worked out: it costs more
// than all else together.
const judgedEvery = 1.0

func (c *Filter) conformity(f *fitting, r *sweep.Result) {
	if !f.in.setup.Tolerance.Given() || r.Lean == nil {
		return
	}
	newest := 0.0
	for _, s := range c.tracks {
		if s != nil {
			newest = math.Max(newest, s.last)
		}
	}
	if c.judged == nil || newest-c.judgedAt >= judgedEvery {
		all, _ := f.belief()
		p := all.InsideBoth(f.in.setup.Tolerance.Limit.MMPerM())
		c.judged, c.judgedAt = &p, newest
	}
	p := *c.judged
	for _, a := range []*sweep.Axis{r.Tilt, r.Nod} {
		p = math.Min(p, *a.Conformity)
	}
	r.Conformity = &p
}

// open gives the blocks that have not ended and their rows, how many of their readings are spikes, and how many are off
// the surface.
func (c *Filter) open() (bs []block, rows [][]float64, spikes, off int) {
	for _, s := range c.tracks {
		if s == nil {
			continue
		}
		stuck := c.stuck(s)
		more, n := s.now(c.base(s), !stuck)
		spikes += n
		if stuck {
			spikes += len(s.flat.held)
		}
		for i := range more {
			b := &more[i]
			c.moved(b)
			row := c.row(b)
			if c.strays(b, row) {
				off += int(b.n)
				continue
			}
			bs, rows = append(bs, *b), append(rows, row)
		}
	}
	return bs, rows, spikes, off
}

// upTo returns the sums of one course with open blocks read too, in the columns of the time that has passed.
func (c *Filter) upTo(k *course, room *solving, open []block, rows [][]float64) white {
	copy(room.gram.a, k.gram.a)
	w := white{g: room.gram, logDet: k.logDet}
	for i, p := range room.paces {
		p.copy(k.tracks[i])
	}
	read := func(at int, m mate) {
		w.logDet += math.Log(room.paces[at].read(&m.b, m.row, c.out))
		w.g.rank1(c.out, 1)
	}
	waiting := c.pairs.clone()
	for i := range open {
		m := mate{b: open[i], row: rows[i]}
		if k.noise.together == 0 {
			read(m.b.track, m)
		} else {
			waiting.push(m, read)
		}
	}
	if k.noise.together != 0 {
		waiting.flush(read)
	}
	c.change.gram(w.g)
	return w
}

// Codes of what only a live result says; they never change their meaning.
const (
	WarnStray   = "off_surface_now"
	WarnUnknown = "indicator_joins"
)

// warn says what the filter leaves to the next fit.
func (c *Filter) warn(r *sweep.Result, off int) {
	if n := c.off + off; n > 0 {
		r.Warnings = append(r.Warnings, sweep.Warning{Code: WarnStray,
			Text: fmt.Sprintf(
				"%d readings lie off the fitted surface and are left out until the next full fit says what they are",
				n)})
	}
	if c.missing > 0 {
		r.Warnings = append(r.Warnings, sweep.Warning{Code: WarnUnknown,
			Text: fmt.Sprintf("%d readings of an indicator that had none before wait for the next full fit",
				c.missing)})
	}
}

// Urgent reports whether a fit should come soon: readings were left out that it may take in.
func (c *Filter) Urgent() bool { return c.off+c.missing > 0 }

// Added says how many readings came after the fit, and how many the fit had.
func (c *Filter) Added() (since, fitted int) { return c.readings, c.said.Readings + c.said.Rejected }
