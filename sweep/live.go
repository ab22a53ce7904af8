package sweep

import (
	"errors"
	"math"

	"tramd/sweep/units"
)

// The full model is fitted again once a sweep has RefitGrowth times the readings of the fit before, or with each reading
// up to RefitFew: stations. A session goes by these, and so does the study of what it shows.
const (
	RefitGrowth = 2.0
	RefitFew    = 60
)

// Live fits a sweep while it goes on, from running sums: taking a reading costs the same however long the run, and
// allocates nothing. It agrees with Plain, which is the one to keep. One goroutine at a time.
type Live struct {
	tally *tally
	sums  []moments
}

// moments are the sums of one indicator's readings (less its first) and directions.
type moments struct {
	cos, sin, cc, cs, ss float64
	z, zc, zs, zz        float64
}

// CurvePoint is the mean of one indicator's readings in one degree of the circle.
type CurvePoint struct {
	Deg       float64 // of the contact point on the circle: spindle angle plus the indicator's phase
	MM        float64
	Indicator int
}

// NewLive makes a Live for a setup.
func NewLive(setup Setup) (*Live, error) {
	t, err := newTally(setup)
	if err != nil {
		return nil, err
	}
	return &Live{tally: t, sums: make([]moments, len(setup.Indicators))}, nil
}

// Add takes one reading. What cannot be fitted, an unknown angle or no number at all, is counted as rejected.
func (l *Live) Add(p Point) {
	if known, err := checkPoint(p, len(l.sums)); err != nil || !known {
		l.tally.rejected++
		return
	}
	z, cos, sin := l.tally.add(p)
	m := &l.sums[p.Indicator]
	m.cos += cos
	m.sin += sin
	m.cc += cos * cos
	m.cs += cos * sin
	m.ss += sin * sin
	m.z += z
	m.zc += z * cos
	m.zs += z * sin
	m.zz += z * z
}

// Readings says how many readings were fitted.
func (l *Live) Readings() int { return l.tally.readings }

// Sectors shows which sectors of 5 degrees, counting from 0, hold readings: '1' for each that does.
func (l *Live) Sectors() string { return l.tally.sectors() }

// Curve returns the readings so far as means over one degree, in order of indicator and angle.
func (l *Live) Curve() []CurvePoint {
	t := l.tally
	n := 0
	for i := range t.bins {
		for k := range t.bins[i] {
			if t.bins[i][k].n > 0 {
				n++
			}
		}
	}
	out := make([]CurvePoint, 0, n)
	for i := range t.bins {
		for k := range t.bins[i] {
			if b := t.bins[i][k]; b.n > 0 {
				out = append(out, CurvePoint{Deg: b.deg(k), MM: t.origin[i] + b.z/b.n, Indicator: i})
			}
		}
	}
	return out
}

// normal are the normal equations of the lean, each indicator's readings taken about their own mean.
type normal struct {
	xx, xy, yy, xz, yz float64
	zz                 float64 // weighted sum of squares about the means
	silent             int     // indicators without a reading
}

func (l *Live) normal() normal {
	var q normal
	t := l.tally
	for i := range l.sums {
		m := &l.sums[i]
		if t.count[i] == 0 {
			q.silent++
			continue
		}
		n, r, w2 := float64(t.count[i]), t.setup.Indicators[i].RadiusMM, sq(t.weight[i])
		q.xx += w2 * r * r * (m.cc - m.cos*m.cos/n)
		q.xy += w2 * r * r * (m.cs - m.cos*m.sin/n)
		q.yy += w2 * r * r * (m.ss - m.sin*m.sin/n)
		q.xz += w2 * r * (m.zc - m.z*m.cos/n)
		q.yz += w2 * r * (m.zs - m.z*m.sin/n)
		q.zz += w2 * (m.zz - m.z*m.z/n)
	}
	return q
}

// spread inverts the equations; ok is false while they do not settle both axes.
func (q normal) spread() (s [2][2]float64, ok bool) {
	det := q.xx*q.yy - q.xy*q.xy
	if !(det > 1e-9*q.xx*q.yy) {
		return s, false
	}
	return [2][2]float64{{q.yy / det, -q.xy / det}, {-q.xy / det, q.xx / det}}, true
}

// Slopes gives tilt and nod alone, after every reading if need be: no judgement of them, no allocation, and a cost that
// does not depend on the run. ok is false while the readings do not settle both.
func (l *Live) Slopes() (tilt, nod units.Slope, ok bool) {
	q := l.normal()
	s, ok := q.spread()
	if !ok {
		return 0, 0, false
	}
	return units.Slope(s[0][0]*q.xz + s[0][1]*q.yz), units.Slope(s[1][0]*q.xz + s[1][1]*q.yz), true
}

// errUnsettled is why readings that go round far enough may still not be fitted.
var errUnsettled = errors.New("the readings do not settle the lean yet: go on round")

// Ready says why what was taken so far cannot be fitted yet; nil: it can. It fits nothing.
func (l *Live) Ready() error {
	g, err := l.tally.geometry(l.tally.round())
	if err == nil && g.x && g.y {
		if _, ok := l.normal().spread(); !ok {
			err = errUnsettled
		}
	}
	return err
}

// Result fits what was taken so far, or says why it cannot be fitted yet.
func (l *Live) Result() (Result, error) {
	t := l.tally
	seen := t.round()
	g, err := t.geometry(seen)
	if err != nil {
		return Result{}, err
	}
	e := t.emptyEstimate()
	q := l.normal()
	e.params = len(l.sums) - q.silent
	switch {
	case g.x && g.y:
		s, ok := q.spread()
		if !ok {
			return Result{}, errUnsettled
		}
		e.spread = s
		e.params += 2
	case g.x:
		e.spread[0][0] = 1 / q.xx
		e.params++
	default:
		e.spread[1][1] = 1 / q.yy
		e.params++
	}
	e.slope[0] = e.spread[0][0]*q.xz + e.spread[0][1]*q.yz
	e.slope[1] = e.spread[1][0]*q.xz + e.spread[1][1]*q.yz
	e.rss = max(0, q.zz-e.slope[0]*q.xz-e.slope[1]*q.yz)
	for i, m := range l.sums {
		if n := float64(t.count[i]); n > 0 {
			r := t.setup.Indicators[i].RadiusMM
			e.offset[i] = t.origin[i] + (m.z-r*(e.slope[0]*m.cos+e.slope[1]*m.sin))/n
		}
	}
	return t.result(e, g, seen), nil
}

func (t *tally) emptyEstimate() estimate {
	e := estimate{offset: make([]float64, len(t.count))}
	for i := range e.offset {
		e.offset[i] = math.NaN()
	}
	return e
}
