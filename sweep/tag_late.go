package sweep

import "math"

// backlog tells a sender that was held up, and then sends what it had meanwhile, from one that was silent or whose
// lines were lost. What was held up comes faster than the sender's rhythm. Nothing says when it was measured: by their
// stamps the lines lie after the silence, and an arm that went on turning seems to have stood.
type backlog struct {
	begun  bool
	last   float64 // time of the latest line
	period float64 // seconds from line to line
	n      int     // lines that the period is known by
	state  backlogState
	from   float64 // when the last line before the silence came
	owed   float64 // seconds of lines that were due by now and have not come
	came   int     // lines since the silence
	pace   float64 // seconds from line to line, lately
}

type backlogState int

const (
	onTime  backlogState = iota
	unknown              // after a silence: the next lines say what it was
	caughtUp
	behind
)

const (
	backlogSilence = 4    // periods without a line that are a silence
	backlogLeast   = 0.03 // and seconds: a busy computer stamps a line so late
	backlogSlowest = 0.25 // seconds from line to line: what comes more seldom comes when somebody asks for it
	backlogLines   = 8    // after which it is clear whether they come faster than before
	backlogFast    = 0.85 // of a period from line to line: faster than any clock drifts or a mean of that many jitters
)

// add takes a line and reports how the sender is. caughtUp is said once, with the last line that was held up.
func (b *backlog) add(t float64) backlogState {
	gap := t - b.last
	b.last = t
	switch {
	case !b.begun:
		b.begun = true
		return onTime
	case b.state == onTime:
		if b.n >= backlogLines && b.period < backlogSlowest && gap > math.Max(backlogSilence*b.period, backlogLeast) {
			b.state, b.from, b.owed, b.came, b.pace = unknown, t-gap, gap-b.period, 0, b.period
			return unknown
		}
		b.n++
		b.period += (gap - b.period) / float64(min(b.n, 16))
		return onTime
	}
	b.came++
	b.owed += gap - b.period
	b.pace += (math.Min(gap, 2*b.period) - b.pace) / float64(min(b.came, backlogLines))
	switch fast := b.pace < backlogFast*b.period; {
	case fast && b.owed < b.period/2:
		b.state = onTime
		return caughtUp
	case b.came < backlogLines:
	case fast:
		b.state = behind
	default:
		late := b.state == behind
		b.state = onTime
		if late { // some of the lines were lost
			return caughtUp
		}
	}
	return b.state
}

// waits reports whether what the sender says is not clear yet.
func (b *backlog) waits() bool { return b.state != onTime }

// heldUpDeg is how far an arm may go while its encoder is held up before the readings of that time lose their angles.
const heldUpDeg = 0.5

// alike is how many steps of one size in a row an arm does not make before an encoder that speaks by the clock.
const alike = 256

// settle emits the readings up to t, unless the encoder's lines are late, or may be: those wait until it is known how
// far the arm went meanwhile. d is how many raw units the arm went to the latest sample. An encoder that speaks as
// often as the arm has moved by a step is silent while it rests, and quicker when the arm is: that is no backlog. It is
// known by its steps, which are all alike.
func (e *Encoder) settle(t float64, d int64, emit func(Point)) {
	if way := max(d, -d); way == e.lastWay && way != 0 {
		e.even++
	} else {
		e.even, e.lastWay = 0, way
	}
	if e.even >= alike {
		e.backlog = backlog{}
	}
	switch e.backlog.add(t) {
	case onTime:
	case caughtUp:
		e.forgetHeldUp()
	default:
		return
	}
	for i := range e.readers {
		if b := &e.readers[i]; b.waits() && t-b.last > backlogPatience {
			b.state = onTime // it is silent again, and the few that came say nothing
			e.answer(i, e.swept(b.from) > Radians(heldUpDeg))
		}
	}
	e.release(t, emit)
}

// backlogPatience is how many seconds a reading waits at the most to learn whether it came late.
const backlogPatience = 0.5

// answer ends the wait of an indicator's readings.
func (e *Encoder) answer(indicator int, late bool) {
	for i := range e.waiting {
		if w := &e.waiting[i]; w.indicator == indicator && w.held {
			w.held, w.late = false, late
		}
	}
}

// HeldUp reports whether the encoder or an indicator sends what was held up, so that readings wait.
func (e *Encoder) HeldUp() bool {
	late := e.backlog.state == behind
	for i := range e.readers {
		late = late || e.readers[i].state == behind
	}
	return late
}

// forgetHeldUp takes the certainty from the angles since the encoder was held up, where the arm moved.
func (e *Encoder) forgetHeldUp() {
	if e.swept(e.backlog.from) <= Radians(heldUpDeg) {
		return
	}
	for i := e.n - 1; i >= max(0, e.n-pastFixes) && e.past[i%pastFixes].t > e.backlog.from; i-- {
		e.past[i%pastFixes].certain = false
	}
}

// swept is how far the arm has gone since a moment, in radians.
func (e *Encoder) swept(from float64) float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for i := e.n - 1; i >= max(0, e.n-pastFixes); i-- {
		f := &e.past[i%pastFixes]
		low, high = math.Min(low, f.angle), math.Max(high, f.angle)
		if f.t <= from {
			break
		}
	}
	return high - low
}

// heard takes note of a reading's time and reports whether it may have come late, so that it has to wait. Where that
// turns out, the readings that came late have no angle.
func (e *Encoder) heard(t float64, indicator int) (waits, late bool) {
	for indicator >= len(e.readers) && indicator < maxReaders {
		e.readers = append(e.readers, backlog{})
	}
	if indicator < 0 || indicator >= len(e.readers) {
		return false, false
	}
	b := &e.readers[indicator]
	before := b.waits()
	switch now := b.add(t); {
	case now == caughtUp:
		late = e.swept(b.from) > Radians(heldUpDeg)
		e.answer(indicator, late)
	case now != onTime:
		return true, false
	case before: // it was silent and nothing more
		e.answer(indicator, false)
	}
	return false, late
}

// maxReaders bounds the indicators that are watched so.
const maxReaders = 64
