package device

import "time"

// turns asks one port, question by question. It belongs to the goroutine that reads the port: before each read it writes
// what is due and says how long the read may take.
type turns struct {
	asker    asker
	every    time.Duration
	answer   time.Duration
	rest     Stamp // silence that must lie between an answer and the next question
	onDemand bool

	phase   turnPhase
	until   Stamp // the end of the phase; for a pause with nothing due, never
	at      Stamp // of the latest question
	request string
}

type turnPhase uint8

const (
	turnDrain turnPhase = iota // what comes now answers nothing that is in hand
	turnIdle                   // the next question is due at until
	turnAwait                  // an answer is due before until
)

const never = Stamp(1<<63 - 1)

// drainFirst is for what waited in the adapter from before the port was opened.
const drainFirst = Stamp(50 * time.Millisecond)

// writeWithin bounds a write. A line takes a request of 256 bytes at 1200 baud in about two seconds.
const writeWithin = 5 * time.Second

func newTurns(a asker, spec Spec) *turns {
	// A frame of Modbus is followed by silence for three and a half characters of eleven bits, and from 19,200 baud on for
	// 1.75 ms (MODBUS over Serial Line V1.02, 2.5.1.1). It harms no other instrument.
	rest := Stamp(1750 * time.Microsecond)
	if spec.Baud <= 19200 {
		rest = Stamp(int64(time.Second) * 7 * 11 / 2 / int64(spec.Baud))
	}
	return &turns{asker: a, every: spec.Asking.Every, answer: spec.Asking.Answer, onDemand: spec.Asking.OnDemand, rest: rest}
}

func (t *turns) opened(now Stamp) { t.phase, t.until = turnDrain, now+drainFirst }

// due says whether a question must go out now. wanted is how many were asked for.
func (t *turns) due(now Stamp, wanted bool) bool {
	if t.phase == turnDrain && now >= t.until {
		t.phase, t.until = turnIdle, now
	}
	if t.phase != turnIdle {
		return false
	}
	if t.onDemand {
		t.until = max(t.until, t.at+t.rest)
		return wanted && now >= t.until
	}
	return now >= t.until
}

func (t *turns) sent(request string, now Stamp) {
	t.request, t.at = request, now
	t.phase, t.until = turnAwait, now+Stamp(t.answer)
	t.asker.asked(request, now)
}

// heard is told of every read. It says whether the answer has come.
func (t *turns) heard(now Stamp) bool {
	if t.phase != turnAwait || !t.asker.answered() {
		return false
	}
	t.phase, t.until = turnIdle, now+t.rest
	if !t.onDemand {
		t.until = max(t.until, t.at+Stamp(t.every))
	}
	return true
}

// late gives the question in hand up when its time is over. Its answer may still come and must not be taken for the
// answer to the next one, so nothing is asked for as long again.
func (t *turns) late(now Stamp) bool {
	if t.phase != turnAwait || now < t.until {
		return false
	}
	t.asker.silent()
	t.phase, t.until = turnDrain, now+Stamp(t.answer)
	return true
}
