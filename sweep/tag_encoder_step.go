package sweep

import "math"

// step is how far the arm went from the latest sample to another raw value, in radians, counter-clockwise seen from
// above.
func (e *Encoder) step(raw int64) float64 { return float64(e.rawStep(raw)) * e.unit }

// rawStep unwraps. A counter of known width wraps at its width. Otherwise it wraps after one turn while it stays inside
// one; once it goes beyond, or from there, it counts on.
func (e *Encoder) rawStep(raw int64) int64 {
	d := raw - e.lastRaw
	switch {
	case e.o.CounterBits > 0 && e.modulus == e.o.CountsPerTurn:
		return nearest(d, 1<<e.o.CounterBits)
	case !e.beyond && !e.o.CountsOn && e.inTurn(raw):
		return nearest(d, e.modulus)
	}
	return d
}

func (e *Encoder) inTurn(raw int64) bool { return raw < e.modulus && raw > -e.modulus }

// mind notices a counter that goes beyond one turn.
func (e *Encoder) mind(raw int64) { e.beyond = e.beyond || !e.inTurn(raw) }

// centred reads a counter of known width as signed: just below zero it may show a number just below its width.
func (e *Encoder) centred(raw int64) int64 {
	if b := e.o.CounterBits; b > 0 && e.modulus == e.o.CountsPerTurn {
		return nearest(raw, 1<<b)
	}
	return raw
}

// nearest reduces d by whole turns of n to the nearest to zero.
func nearest(d, n int64) int64 {
	d %= n
	switch {
	case 2*d > n:
		d -= n
	case 2*d < -n:
		d += n
	}
	return d
}

// Limits of what an arm does.
const (
	stirDeg = 0.5 // any sample may lie this far from the one before
	maxSpin = 100 // rad/s², more than a hand gives an arm (common practice, no source)
	unevenS = 0.03

	// maxLateS bounds how late a busy computer may stamp a sample: the time then seems to be missing before the next
	// one. It shows beforehand as a gap that is longer than the rhythm.
	maxLateS = 0.5
)

// likely reports whether a step fits how the arm has been going: at most four times the steps before, for the time it
// took.
func (e *Encoder) likely(x sample, step float64) bool {
	return math.Abs(step) <= e.room(x.t-e.last().t)
}

func (e *Encoder) room(gap float64) float64 {
	return math.Max(Radians(stirDeg), 2*e.quantum) + 4*e.pace*math.Max(gap, e.rhythm)
}

// reach is how far an arm can have come that was pushed as hard as can be. A counter that was reset moves further, or
// less far to just where counters start.
func (e *Encoder) reach(gap float64) float64 {
	t := math.Max(gap, e.rhythm) + unevenS
	return e.room(gap) + maxSpin*t*t/2
}

// restarted reports whether a raw value is what a counter shows just after it was switched on, on an arm that goes on
// turning.
func (e *Encoder) restarted(raw int64, gap float64) bool {
	return math.Abs(float64(e.centred(raw))*e.unit) <= Radians(stirDeg)+1.5*e.pace*math.Max(gap, e.rhythm)
}

// learn keeps the pace of the arm and the rhythm of the samples: the pace rises at once and falls slowly.
func (e *Encoder) learn(gap, step float64) {
	if gap <= 0 {
		return
	}
	if e.rhythm == 0 {
		e.rhythm = gap
	}
	e.rhythm += (gap - e.rhythm) / 16
	e.pace = math.Max(math.Abs(step)/math.Max(gap, e.rhythm), e.pace*0.98)
}

// begun reports whether a raw value is what a counter shows a sample after it was switched on, on an arm that was well
// away from there.
func (e *Encoder) begun(raw int64, gap float64) bool {
	near := 2.1*e.quantum + 1.2*e.pace*math.Max(gap, e.rhythm)
	return math.Abs(float64(e.centred(raw))*e.unit) <= near && math.Abs(float64(e.centred(e.lastRaw))*e.unit) > 2*near
}
