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
	for n < len(e.waiting) && e.waiting[n].t <= t {
		w := e.waiting[n]
		emit(Point{T: w.t, Angle: e.at(w.t), Reading: w.mm, Indicator: w.indicator})
		n++
	}
	if n > 0 {
		e.waiting = e.waiting[:copy(e.waiting, e.waiting[n:])]
	}
}

// AddReading takes a reading measured at t. It comes out of emit, with its angle, once the encoder has spoken again, or
// at once with an unknown angle when it came too late or too many wait.
func (e *Encoder) AddReading(t, mm float64, indicator int, emit func(Point)) {
	if e.have && t <= e.last().t {
		emit(Point{T: t, Angle: e.at(t), Reading: mm, Indicator: indicator})
		return
	}
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
	e.waiting[i] = waitingReading{t, mm, indicator}
}

// Flush emits every reading that still waits with an unknown angle: the encoder will say no more.
func (e *Encoder) Flush(emit func(Point)) {
	for _, w := range e.waiting {
		emit(Point{T: w.t, Angle: math.NaN(), Reading: w.mm, Indicator: w.indicator})
	}
	e.waiting = e.waiting[:0]
}
