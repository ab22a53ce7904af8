package frame

import (
	"encoding/hex"
	"fmt"
	"strings"
	"time"
)

// Ask is one question to the instruments of a port. Some indicators send only when they are asked.
//
// Caution: what is written to a port may move a machine if something else than an indicator listens there.
type Ask struct {
	Request string // the bytes themselves
	Channel string // whose answer this is, when the answer does not say
}

// MaxRequest is how many bytes a question may have.
const MaxRequest = 256

// ParseRequest reads a request as a person writes it: text with the escapes \r \n \t \\ and \x05, or "hex:" and
// hexadecimal digits, as in "hex: 3F 0D".
func ParseRequest(s string) (string, error) {
	out, isHex := strings.CutPrefix(s, "hex:")
	if isHex {
		b, err := hex.DecodeString(strings.Join(strings.Fields(out), ""))
		if err != nil {
			return "", fmt.Errorf(`%q: write pairs of hexadecimal digits behind hex:, for example "hex: 3F 0D"`, s)
		}
		out = string(b)
	} else {
		var err error
		if out, err = unescape(s); err != nil {
			return "", err
		}
	}
	if out == "" || len(out) > MaxRequest {
		return "", fmt.Errorf(`%q: write 1 to %d bytes, for example "?\r"`, s, MaxRequest)
	}
	return out, nil
}

// Requester is a framer of an instrument that speaks when it is asked.
type Requester interface {
	Framer
	Questions() int                             // that are asked in turn
	Next(k int) string                          // the request whose turn it is; with k the one that comes so much later
	Asked(request string, at Stamp, proof bool) // it has gone out; what comes of a proof is dropped
	Answered() bool                             // its answer has come, as far as one can tell
	Unasked() uint64                            // answers that came when nothing was asked, or not in its time
	Silent()                                    // the time for an answer is over
	ChannelOf(request string) (name string)     // whom it asks, for people
}

// Refuser is a framer whose instrument says why it cannot answer.
type Refuser interface {
	Refused() string // why the latest answer was none; empty when it was one
}

// askFramer wraps the framer of the answers.
type askFramer struct {
	Framer
	asks    []Ask
	turn    int
	open    bool // what comes now is an answer
	got     bool
	proof   bool // what comes now is not to be believed yet
	named   bool // an answer that did not say whose it is has come
	at      Stamp
	faults  uint64 // of its framer, before the question
	misses  uint64
	strays  uint64
	channel string
}

func newAskFramer(f Framer, asks []Ask) *askFramer {
	return &askFramer{Framer: f, asks: asks, turn: len(asks) - 1}
}

func (a *askFramer) Questions() int { return len(a.asks) }

func (a *askFramer) Next(k int) string { return a.asks[(a.turn+1+k)%len(a.asks)].Request }

func (a *askFramer) Asked(request string, at Stamp, proof bool) {
	for range a.asks { // a replayed capture may have been recorded with other questions
		a.turn = (a.turn + 1) % len(a.asks)
		if a.asks[a.turn].Request == request {
			break
		}
	}
	a.channel = a.asks[a.turn].Channel
	a.Framer.Begin()
	a.open, a.got, a.named, a.at = true, false, false, at
	a.proof, a.faults = proof, a.Framer.FaultTotal()
}

func (a *askFramer) ChannelOf(request string) string {
	for _, x := range a.asks {
		if x.Request == request {
			return x.Channel
		}
	}
	return ""
}

// Feed implements Framer. What comes while nothing is asked is counted and dropped: it may be the late answer to a
// question that has been given up, and it could not be said to which.
func (a *askFramer) Feed(dst []Sample, p []byte, at Stamp) []Sample {
	had := len(dst)
	return a.sort(a.Framer.Feed(dst, p, at), had)
}

func (a *askFramer) sort(dst []Sample, had int) []Sample {
	a.got = a.got || a.open && len(dst) > had
	if !a.open || a.proof {
		a.strays += uint64(len(dst) - had)
		return dst[:had]
	}
	kept := dst[:had]
	for _, s := range dst[had:] {
		if s.Channel == "" && a.channel != "" {
			if a.named { // one question, one answer: whose the second is, nothing says
				a.strays++
				continue
			}
			s.Channel, a.named = a.channel, true
		}
		s.Asked = a.at
		kept = append(kept, s)
	}
	return kept
}

// Answered does not take what cannot be read for an answer: it may be an echo of the question, and the answer still to
// come.
func (a *askFramer) Answered() bool { return a.got }

func (a *askFramer) Unasked() uint64 { return a.strays }

func (a *askFramer) Silent() {
	a.open = false
	if a.Framer.FaultTotal() == a.faults { // else what came is counted
		a.misses++
	}
}

// Reset implements Framer.
func (a *askFramer) Reset() {
	a.Framer.Reset()
	a.open = false
}

// Begin is for ports that speak by themselves: an asked one begins with its question.
func (a *askFramer) Begin() {}

func (a *askFramer) FaultTotal() uint64 { return a.Framer.FaultTotal() + a.misses + a.strays }

// Faults implements Framer.
func (a *askFramer) Faults() map[string]uint64 {
	m := a.Framer.Faults()
	m[faultNames[faultNoAnswer]] = a.misses
	m[faultNames[faultUnasked]] = a.strays
	return m
}

// The frames of an answer may be held back too.
func (a *askFramer) MayHold() bool { return AsHolder(a.Framer) != nil }

func (a *askFramer) Holding() bool {
	w, ok := a.Framer.(Holder)
	return ok && w.Holding()
}

func (a *askFramer) HoldsFor() time.Duration {
	if w, ok := a.Framer.(Holder); ok {
		return w.HoldsFor()
	}
	return 0
}

func (a *askFramer) Silence(dst []Sample, at Stamp) []Sample {
	w, ok := a.Framer.(Holder)
	if !ok {
		return dst
	}
	had := len(dst)
	return a.sort(w.Silence(dst, at), had)
}
