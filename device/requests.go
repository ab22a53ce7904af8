package device

import (
	"time"

	"tramd/device/frame"
)

// requests asks one port, question by question. It belongs to the goroutine that reads the port: before each read it
// writes what is due and says how long the read may take.
//
// An answer does not say what was asked, so one that comes late would be taken for the answer to a later question.
// After a question without an answer in its time nothing is asked for longer than an answer may be late (mostLate).
// Where the one answer that was missing comes meanwhile, and then nothing more, all is well again. Otherwise the
// instrument must prove that it is in step: a question is answered and the answer dropped; after a pause that differs
// from all before, the same question is answered as long after it as it was. The answers of an instrument that lags by
// whole questions would come sooner or later by as much as the pauses differ.
type requests struct {
	framer   frame.Requester
	every    time.Duration
	answer   time.Duration
	rest     Stamp // silence that must lie between an answer and the next question
	onDemand bool

	phase   requestPhase
	until   Stamp // the end of the phase; for a pause with nothing due, never
	at      Stamp // of the latest question
	request string

	proofs   int   // answers that must still prove that it is in step
	failures int   // in a row
	delay    Stamp // of the first proof's answer
	again    bool  // the question of the proofs is asked once more, for its answer to count
	talk     int   // how often something came in the present pause, later than an answer would
	strays   uint64
	silent   map[string]silence
}

// silence is a question that was not answered, time and again, and when it is asked again.
type silence struct {
	misses int
	until  Stamp
}

const (
	twoProofs = 2
	mostLate  = 10 // times the time for an answer: later than that it is caught by the proof alone
	mostTalk  = 20 // a line that is never silent is asked all the same, and nothing is believed
	rarely    = 40 // times the time for an answer: how often a question is asked that is never answered
)

type requestPhase uint8

const (
	phaseDrain requestPhase = iota // what comes now answers nothing that is in hand
	phaseIdle                      // the next question is due at until
	phaseAwait                     // an answer is due before until
)

const never = Stamp(1<<63 - 1)

// drainFirst is for what waited in the adapter from before the port was opened.
const drainFirst = Stamp(50 * time.Millisecond)

// writeWithin bounds a write. A line takes a request of 256 bytes at 1200 baud in about two seconds.
const writeWithin = 5 * time.Second

func newRequests(a frame.Requester, spec Spec) *requests {
	// A frame of Modbus is followed by silence for three and a half characters of eleven bits, and from 19,200 baud on
	// for
	// 1.75 ms (MODBUS over Serial Line V1.02, 2.5.1.1). It harms no other instrument.
	rest := Stamp(1750 * time.Microsecond)
	if spec.Baud <= 19200 {
		rest = Stamp(int64(time.Second) * 7 * 11 / 2 / int64(spec.Baud))
	}
	return &requests{framer: a, every: spec.Asking.Every, answer: spec.Asking.Answer, onDemand: spec.Asking.OnDemand,
		rest: rest, silent: map[string]silence{}}
}

func (t *requests) opened(now Stamp) {
	t.phase, t.until, t.proofs, t.failures = phaseDrain, now+drainFirst, 0, 0
	clear(t.silent)
}

// next gives the question whose turn it is. A proof is asked for twice by the same; one that was not answered time and
// again is asked rarely, so that it does not keep the others waiting.
func (t *requests) next(now Stamp) string {
	if t.proofs == 1 || t.again {
		return t.request
	}
	for k := range t.framer.Questions() {
		if r := t.framer.Next(k); now >= t.silent[r].until {
			return r
		}
	}
	return t.framer.Next(0)
}

// due says whether a question must go out now. wanted is how many were asked for.
func (t *requests) due(now Stamp, wanted bool) bool {
	if t.phase == phaseDrain && now >= t.until {
		t.drained()
		t.until = now
	}
	if t.phase != phaseIdle {
		return false
	}
	if t.onDemand {
		t.until = max(t.until, t.at+t.rest)
		return wanted && now >= t.until
	}
	return now >= t.until
}

func (t *requests) sent(request string, now Stamp) {
	if t.phase == phaseDrain { // a replay has no looks
		t.drained()
	}
	t.request, t.at, t.again = request, now, false
	t.phase, t.until = phaseAwait, now+Stamp(t.answer)
	t.framer.Asked(request, now, t.proofs > 0)
}

// pause is how long the line must be silent after a question that was not answered in its time.
func (t *requests) pause() Stamp { return (mostLate - 1) * Stamp(t.answer) }

// paid says whether the one answer that was missing has come.
func (t *requests) paid() bool {
	return t.failures == 1 && t.proofs == twoProofs && t.framer.Unasked() == t.strays+1
}

// doubt starts the proof over.
func (t *requests) doubt(now Stamp) {
	t.failures++
	t.proofs = twoProofs
	t.drain(now + t.pause())
}

func (t *requests) drain(until Stamp) {
	t.phase, t.until, t.talk, t.strays = phaseDrain, until, 0, t.framer.Unasked()
}

// drained ends a pause, and judges what came in it.
func (t *requests) drained() {
	t.phase = phaseIdle
	switch {
	case t.talk == 0:
	case t.paid():
		t.proofs, t.failures = 0, 0 // that was it
	default:
		t.proofs, t.failures = twoProofs, t.failures+1
	}
}

// heard takes every read and reports whether the answer has come.
func (t *requests) heard(now Stamp) bool {
	if t.phase != phaseAwait || !t.framer.Answered() {
		return false
	}
	delete(t.silent, t.request)
	switch took := now - t.at; {
	case t.proofs == twoProofs:
		t.proofs, t.delay = 1, took
		t.drain(now + Stamp(t.answer)*3/2)
		return true
	case t.proofs == 1 && max(took-t.delay, t.delay-took) > max(Stamp(t.answer)/4, Stamp(5*time.Millisecond)):
		t.doubt(now)
		return true
	}
	t.again = t.proofs == 1
	t.proofs, t.failures = 0, 0
	t.phase, t.until = phaseIdle, now+t.rest
	if !t.onDemand {
		t.until = max(t.until, t.at+Stamp(t.every))
	}
	return true
}

// talked notes when bytes came. Those that come while the line should be silent, and later than the rest of an answer
// would, belong to a question of before.
func (t *requests) talked(now Stamp) {
	if t.phase == phaseDrain && t.proofs > 0 && now > t.at+Stamp(t.answer) && t.talk < mostTalk {
		t.talk++
		t.until = max(t.until, now+t.pause())
		if t.paid() {
			t.until = now + Stamp(t.answer)
		}
	}
}

// late gives the question in hand up when its time is over.
func (t *requests) late(now Stamp) bool {
	if t.phase != phaseAwait || now < t.until {
		return false
	}
	t.framer.Silent()
	s := t.silent[t.request]
	if s.misses++; s.misses >= fewMisses {
		s.until = now + rarely*Stamp(t.answer)
	}
	t.silent[t.request] = s
	t.doubt(now)
	return true
}
