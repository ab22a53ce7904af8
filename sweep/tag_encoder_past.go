package sweep

import "math"

// fix is where the arm was at a moment, and whether its way there since the sample before is certain.
type fix struct {
	t, angle float64
	known    bool // the angle is one, and not only counted from an unknown start
	certain  bool
}

// pastFixes is how many samples are kept: two seconds of a fast encoder, far more than two ports differ by.
const pastFixes = 2048

type waitingReading struct {
	t, mm     float64
	indicator int
	held      bool // it may have come late: those that follow will show it
	late      bool // it did, and nothing says when it was taken
}

// maxWaiting bounds the readings that wait for a silent encoder: over a minute at the highest rates.
const maxWaiting = 1 << 19

func (e *Encoder) last() fix { return e.past[(e.n-1)%pastFixes] }

func (e *Encoder) put(f fix) {
	e.past[e.n%pastFixes] = f
	e.n++
}

// at returns the angle at a moment that the samples bracket, or NaN where it is not certain.
func (e *Encoder) at(t float64) float64 {
	oldest := max(0, e.n-pastFixes)
	for i := e.n - 1; i >= oldest; i-- {
		b := e.past[i%pastFixes]
		switch {
		case t > b.t:
			return math.NaN()
		case t == b.t && b.known:
			return b.angle
		case i == oldest:
			return math.NaN()
		}
		a := e.past[(i-1)%pastFixes]
		if t < a.t {
			continue
		}
		if !b.certain || !a.known {
			return math.NaN()
		}
		return a.angle + (b.angle-a.angle)*(t-a.t)/(b.t-a.t)
	}
	return math.NaN()
}

// release emits, in order, the readings taken up to t.
func (e *Encoder) release(t float64, emit func(Point)) {
	n := 0
	for n < len(e.waiting) && e.waiting[n].t <= t && !e.waiting[n].held {
		w := e.waiting[n]
		p := Point{T: w.t, Angle: math.NaN(), Reading: w.mm, Indicator: w.indicator}
		if !w.late {
			p.Angle = e.at(w.t)
		}
		emit(p)
		n++
	}
	if n > 0 {
		e.waiting = e.waiting[:copy(e.waiting, e.waiting[n:])]
	}
}

// AddReading takes a reading measured at t. It comes out of emit, with its angle, once the encoder has spoken again, or
// at once with an unknown angle when it came too late or too many wait.
//
// A reading waits too while its indicator may have been held up, and has no angle where it was and the arm moved.
func (e *Encoder) AddReading(t, mm float64, indicator int, emit func(Point)) {
	w := waitingReading{t: t, mm: mm, indicator: indicator}
	w.held, w.late = e.heard(t, indicator)
	if len(e.waiting) >= maxWaiting {
		e.Flush(emit)
	}
	// Readings of several indicators may arrive a little out of order when their delays differ.
	i := len(e.waiting)
	for i > 0 && e.waiting[i-1].t > t {
		i--
	}
	e.waiting = append(e.waiting, waitingReading{})
	copy(e.waiting[i+1:], e.waiting[i:])
	e.waiting[i] = w
	if e.have && !e.backlog.waits() {
		e.release(e.last().t, emit)
	}
}

// Flush emits every reading that still waits with an unknown angle: the encoder will say no more.
func (e *Encoder) Flush(emit func(Point)) {
	for _, w := range e.waiting {
		emit(Point{T: w.t, Angle: math.NaN(), Reading: w.mm, Indicator: w.indicator})
	}
	e.waiting = e.waiting[:0]
}
