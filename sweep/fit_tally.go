package sweep

import "math"

const binCount = 360

// closureWindow is how near the start angle a reading counts as taken at it.
const closureWindow = 3.0 / 360

// closureAway is how far the arm must have gone, in turns, before nearing the start again counts as coming back.
const closureAway = 0.25

// sums is what the mean residual of a group of readings needs, whatever the fit turns out to be.
type sums struct{ n, z, cos, sin float64 }

func (s *sums) add(z, cos, sin float64) {
	s.n++
	s.z += z
	s.cos += cos
	s.sin += sin
}

// deg is the mean angle of bin k in degrees, kept inside the bin: a reading at -1e-14 degrees must not jump to 360.
func (s *sums) deg(k int) float64 {
	middle := float64(k) + 0.5
	off := math.Remainder(Degrees(math.Atan2(s.sin, s.cos))-middle, 360)
	return middle + max(-0.5, min(off, 0.5))
}

// span is the part of one bin that was seen, in turns; empty while hi < lo.
type span struct{ lo, hi float64 }

// tally keeps, in constant memory, everything about a sweep that is not the fit itself. Angles here are those of the
// contact point on the circle: the spindle angle plus the indicator's phase.
type tally struct {
	setup    Setup
	phase    []float64 // radians
	weight   []float64
	origin   []float64 // each indicator's first reading, taken off all of them so that sums stay small
	count    []int
	bins     [][binCount]sums
	seen     [binCount]span
	readings int
	rejected int

	back []comingBack // by indicator
}

// comingBack is one indicator at the angle where it started: the first and the latest time.
type comingBack struct {
	start, visit sums
	startAt      float64
	away, inside bool
}

func (c *comingBack) known() bool { return c.start.n > 0 && c.visit.n > 0 }

func newTally(setup Setup) (*tally, error) {
	if err := setup.Validate(); err != nil {
		return nil, err
	}
	m := len(setup.Indicators)
	if m > maxIndicators {
		return nil, errTooManyIndicators(m)
	}
	setup.Indicators = append([]Indicator(nil), setup.Indicators...) // the caller may change its own
	t := &tally{
		setup: setup, weight: weights(setup),
		phase: make([]float64, m), origin: make([]float64, m), count: make([]int, m),
		bins: make([][binCount]sums, m), back: make([]comingBack, m),
	}
	for i, ind := range setup.Indicators {
		t.phase[i] = Radians(math.Mod(ind.PhaseDeg, 360))
	}
	for i := range t.seen {
		t.seen[i] = span{lo: 2, hi: -1}
	}
	return t, nil
}

// add takes a good reading of indicator i and gives what the solver needs: the reading less the indicator's first one,
// and the direction of the contact point.
func (t *tally) add(p Point) (z, cos, sin float64) {
	i := p.Indicator
	reading := t.setup.Indicators[i].Correct(p.Reading)
	if t.count[i] == 0 {
		t.origin[i] = reading
	}
	t.count[i]++
	t.readings++
	z = reading - t.origin[i]
	phi := p.Angle + t.phase[i]
	sin, cos = math.Sincos(phi)
	turn := phi / (2 * math.Pi)
	turn -= math.Floor(turn)
	k := min(int(turn*binCount), binCount-1)
	t.bins[i][k].add(z, cos, sin)
	s := &t.seen[k]
	s.lo, s.hi = min(s.lo, turn), max(s.hi, turn)
	t.back[i].follow(t.count[i] == 1, turn, z, cos, sin)
	return z, cos, sin
}

// follow follows an indicator away from the start angle and back. Only the latest visit is kept.
func (t *comingBack) follow(first bool, turn, z, cos, sin float64) {
	if first {
		t.startAt = turn
	}
	far := math.Abs(turn - t.startAt)
	far = min(far, 1-far)
	switch {
	case far <= closureWindow && !t.away:
		t.start.add(z, cos, sin)
	case far <= closureWindow:
		if !t.inside {
			t.visit = sums{}
		}
		t.inside = true
		t.visit.add(z, cos, sin)
	default:
		t.inside = false
		t.away = t.away || far > closureAway
	}
}

// residual returns the mean of what the fit leaves over in a group of readings of indicator i.
func (t *tally) residual(g sums, i int, e estimate) float64 {
	r := t.setup.Indicators[i].RadiusMM
	return (g.z-r*(e.slope[0]*g.cos+e.slope[1]*g.sin))/g.n - (e.offset[i] - t.origin[i])
}

// closure is last minus first reading at the start angle, the mean over the indicators that came back to it. Both are
// taken about the fit, since the arm never comes back to quite the same angle and a leaning spindle would show that as
// movement.
func (t *tally) closure(e estimate) float64 {
	var sum, n float64
	for i := range t.back {
		if b := &t.back[i]; b.known() {
			sum += t.residual(b.visit, i, e) - t.residual(b.start, i, e)
			n++
		}
	}
	return sum / n // NaN where none did
}
