package advice

import (
	"errors"
	"math"

	"tramd/sweep"
	"tramd/sweep/units"
)

// Move is one adjuster to be moved.
type Move struct {
	Adjuster string  `json:"adjuster"`
	By       float64 `json:"by"` // signed, in Unit
	Unit     string  `json:"unit"`
	Say      string  `json:"say,omitempty"` // the same for a person
	// Of shims from a stock: what is to be packed in all after the move, signed like By, and of which pieces.
	PackedMM *float64  `json:"packed_mm,omitempty"`
	StackMM  []float64 `json:"stack_mm,omitempty"`
}

// Expected is the lean to be expected after the move, or as it is now when there is none.
type Expected struct {
	Tilt   float64 `json:"tilt_mm_per_m"`
	Nod    float64 `json:"nod_mm_per_m"`
	Chance float64 `json:"chance_within"` // of both axes being within the tolerance
}

// Learned is what one unit of an adjuster is now believed to do.
type Learned struct {
	Adjuster string  `json:"adjuster"`
	Tilt     float64 `json:"tilt_mm_per_m"`
	Nod      float64 `json:"nod_mm_per_m"`
	U        float64 `json:"u"` // standard uncertainty of each of the two
}

// Answer is what to do next.
type Answer struct {
	Done     bool            `json:"done"`
	Moves    []Move          `json:"moves"`
	Expected Expected        `json:"expected"`
	Learned  []Learned       `json:"learned"`
	Verdict  sweep.Verdict   `json:"verdict"` // on the last measurement
	Why      string          `json:"why"`     // for a person: why this, or why stop
	Cautions []string        `json:"cautions"`
	Warnings []sweep.Warning `json:"warnings"`
}

// Advise says what to move next.
func Advise(p Problem) (Answer, error) {
	if err := p.Validate(); err != nil {
		return Answer{}, err
	}
	p.forgetOld()
	last := p.History[len(p.History)-1]
	a := Answer{Moves: []Move{}, Learned: []Learned{}, Cautions: []string{}, Warnings: []sweep.Warning{},
		Verdict: judge(last, p.Tolerance)}
	b := newBelief(&p)
	p.follow(b)
	a.learned(&p, b)
	a.warnings(&p, b)

	c := newChooser(&p, b)
	now := c.stay()
	if last.Changed() { // what it did is not measured yet
		c.afterUnmeasured(&a, last)
		return a, nil
	}
	a.Expected = expected(now)
	if a.Verdict == sweep.Within {
		a.Done, a.Why = true, sentence(p.Subject.both()+" within the tolerance, "+p.Subject.one("its", "their")+
			" uncertainty included. Stop here: another move can only disturb it")
		return a, nil
	}
	if c.useless() {
		a.Done = len(p.Adjusters) > 0
		a.stuckWords(&p)
		return a, nil
	}
	next := c.choose()
	short := c.outOfStock()
	if len(short) > 0 && now.chance <= tells && next.far < now.far-stillHelps {
		a.Expected = expected(next) // what is left on hand goes some of the way
		a.moveWords(&p, next)
		a.shortWords(short)
		return a, nil
	}
	if !worthwhile(now, next) && now.chance <= tells {
		next = c.trial(next)
	}
	if !worthwhile(now, next) && !next.trial {
		if len(short) > 0 && now.chance <= tells {
			a.outOfStockWords(short)
			return a, nil
		}
		a.Done = true
		a.stopWords(&p, now, next)
		return a, nil
	}
	a.Expected = expected(next)
	a.moveWords(&p, next)
	if !next.trial {
		a.cautiousWords(c.cautious(next))
	}
	return a, nil
}

// stillHelps is how much nearer, as outlook.far counts it, the last shims on hand must bring a lean that they cannot
// undo.
const stillHelps = 0.02

// Silent is the answer where there is nothing to advise on, and why.
func Silent(why error) Answer {
	a := Answer{Moves: []Move{}, Learned: []Learned{}, Cautions: []string{}, Warnings: []sweep.Warning{},
		Verdict: sweep.None, Why: sentence(why.Error())}
	code := "nothing_measured"
	switch {
	case errors.Is(why, ErrNoTolerance):
		code = "no_tolerance"
	case errors.Is(why, ErrNoDirection):
		code = sweep.WarnZeroUnknown
	}
	a.warn(code, "%s", why.Error())
	return a
}

// follow takes the belief through the history.
func (p *Problem) follow(b *belief) {
	b.first(p.History[0])
	last := p.History[len(p.History)-1]
	b.blind = [2]bool{math.IsNaN(last.Tilt), math.IsNaN(last.Nod)}
	for i, h := range p.History[1:] {
		m, known := p.nominal(p.History[i], b)
		b.step(m, known, h)
	}
}

// remembered is how many measurements back the belief looks: what an adjuster did long before has been forgotten
// anyway.
const remembered = 150

// forgetOld drops what is older, but keeps what it left packed.
func (p *Problem) forgetOld() {
	p.dropped = max(0, len(p.History)-remembered)
	p.packed = map[string]float64{}
	for _, h := range p.History {
		for name, by := range h.Moved {
			p.packed[name] += by
		}
	}
	p.History = p.History[p.dropped:]
}

// nominal is a logged move in nominal mm/m; not known when something was moved that is not among the adjusters.
func (p *Problem) nominal(h Entry, b *belief) ([]float64, bool) {
	m := make([]float64, len(p.Adjusters))
	known := !h.Unrecorded
	left := len(h.Moved)
	for j, a := range p.Adjusters {
		by, ok := h.Moved[a.Name]
		if ok {
			left--
		}
		m[j] = by * b.size[j]
		if by != 0 && b.size[j] == 0 {
			known = false
		}
	}
	return m, known && left == 0
}

// Changed reports whether anything was done to the machine after this measurement.
func (h *Entry) Changed() bool { return h.Unrecorded || h.moved() }

func (h *Entry) moved() bool {
	for _, by := range h.Moved {
		if by != 0 {
			return true
		}
	}
	return false
}

// tells is the chance of being within from which on chances decide; below it they are noise of the belief's tails.
const tells = 0.02

// worthwhile says whether a move is likelier to help than to hurt. Where either chance counts for something the chances
// decide; where neither does, a move must at least bring the end nearer.
func worthwhile(now, next plan) bool {
	if math.IsInf(next.cost, 1) {
		return false
	}
	if now.chance > tells || next.chance > tells {
		return next.chance > now.chance
	}
	return next.far < now.far-0.05
}

// judge is the verdict on one measurement, by the rule sweeps are judged by.
func judge(h Entry, tol units.Tolerance) sweep.Verdict {
	axis := func(v, u, half float64) *sweep.Axis {
		if math.IsNaN(v) {
			return nil
		}
		if half == 0 {
			half = normal95 * u
		}
		s, e := units.Slope(v)*units.MMPerM, units.Slope(half)*units.MMPerM
		return &sweep.Axis{Slope: s, Expanded: e, Verdict: sweep.Judge(s, e, tol)}
	}
	return sweep.JudgeBoth(axis(h.Tilt, h.TiltU, h.TiltHalf), axis(h.Nod, h.NodU, h.NodHalf), tol)
}

// normal95 is the two-sided 95 % point of the normal distribution.
const normal95 = 1.959963985

func expected(pl plan) Expected {
	return Expected{round(pl.x, 1e-5), round(pl.y, 1e-5), round(pl.chance, 1e-4)}
}

func (a *Answer) learned(p *Problem, b *belief) {
	for j, adj := range p.Adjusters {
		t, tu := b.moments(2 + 2*j)
		n, nu := b.moments(3 + 2*j)
		s := b.size[j]
		a.Learned = append(a.Learned, Learned{adj.Name, round(t*s, 1e-5), round(n*s, 1e-5),
			round(s*math.Sqrt((tu*tu+nu*nu)/2), 1e-5)})
	}
}

func round(v, to float64) float64 {
	r := math.Round(v/to) * to
	return math.Round(r*1e9) / 1e9
}
