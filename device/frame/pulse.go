package frame

import "time"

// PulseFramer makes one sample of whatever comes at a moment: a foot switch or a push button that sends a character or
// a line when it is pressed, or an index pulse. The words do not matter, only the time. Bytes that follow within
// pulseRest belong to the same pulse; whole lines among them are counted as too close, since they may be pulses that
// were lost so.
//
// With a mark every pulse is a line of its own, however close the next one is, and one that holds the word is the start
// mark. It is stamped with its first byte.
type PulseFramer struct {
	faultCount
	mark  string
	skip  bool  // joined in the middle: what comes now may be the end of an old pulse
	last  Stamp // of the latest byte
	any   bool
	ended bool // by a line end

	line   []byte // of a marked one
	began  Stamp
	inLine bool
}

const pulseRest = Stamp(PulseRest)

// PulseRest is how far apart two pulses without a mark must be to be two.
const PulseRest = 30 * time.Millisecond

// NewPulseFramer makes a framer that takes the first byte for a pulse.
func NewPulseFramer() *PulseFramer {
	return &PulseFramer{faultCount: faultCount{reasons: []fault{faultTooClose, faultTooLong}}}
}

// MarkedBy sets the word of the start mark.
func (f *PulseFramer) MarkedBy(word string) *PulseFramer {
	f.mark = word
	return f
}

// Feed implements Framer. Line ends alone are no pulse: they may come late.
func (f *PulseFramer) Feed(dst []Sample, p []byte, at Stamp) []Sample {
	if f.mark != "" {
		return f.feedLines(dst, p, at)
	}
	for _, c := range p {
		if c == '\n' || c == '\r' {
			f.skip, f.ended = false, true
			continue
		}
		fresh := !f.any || at-f.last > pulseRest
		if f.skip && f.any && fresh {
			f.skip = false
		}
		if !fresh && f.ended {
			f.add(faultTooClose)
		}
		f.any, f.last, f.ended = true, at, false
		if fresh && !f.skip {
			dst = append(dst, Sample{At: at, Kind: Pulse})
		}
	}
	return dst
}

func (f *PulseFramer) feedLines(dst []Sample, p []byte, at Stamp) []Sample {
	for _, c := range p {
		if c != '\n' && c != '\r' {
			if !f.inLine {
				f.inLine, f.began, f.line = true, at, f.line[:0]
			}
			if len(f.line) < maxLine {
				f.line = append(f.line, c)
			} else if len(f.line) == maxLine && !f.skip {
				f.skip = true
				f.add(faultTooLong)
			}
			continue
		}
		if f.inLine && !f.skip {
			dst = append(dst, Sample{At: f.began, Kind: Pulse, Mark: holds(f.line, f.mark)})
		}
		f.inLine, f.skip = false, false
	}
	return dst
}

// holds reports whether a line has a word in it, set off by blanks or signs.
func holds(line []byte, word string) bool {
	for from := 0; from < len(line); {
		to := from
		for to < len(line) && !between(line[to]) {
			to++
		}
		if string(line[from:to]) == word {
			return true
		}
		from = to + 1
	}
	return false
}

func between(c byte) bool {
	return c == ' ' || c == '\t' || c == ',' || c == ';' || c == ':' || c == '='
}

// Reset implements Framer.
func (f *PulseFramer) Reset() { f.skip, f.any, f.inLine, f.ended = true, false, false, false }

func (f *PulseFramer) Begin() { f.skip, f.any, f.inLine, f.ended = false, false, false, false }
