package frame

import "bytes"

// EncoderFramer decodes one spindle angle a line: a signed count ("-1024"), or a decimal with the unit deg
// ("359.95 deg"), either with an optional name in front. Counter-clockwise seen from above counts up. Wrap, direction
// and turns are the reader's business: a count is passed on as it came.
//
// An encoder with an index mark writes a word for it after what it showed there ("1024 index", "359.95 deg index"), or
// the word alone on a line when it passes.
type EncoderFramer struct {
	lines
	names    names
	maxCount uint64 // 0: counts mean nothing here
	mark     string // the word for the index mark; empty: there is none
	linear   bool   // a scale: it knows no degrees
}

const (
	microdegree = 1_000_000       // the unit of an Angle, per degree
	maxTurns    = 1_000_000       // a count or angle further from zero than this is damage, not travel
	maxCount    = uint64(1) << 62 //
)

// NewEncoderFramer makes a framer for an encoder with so many counts a turn. With zero counts a turn only angles in
// degrees are taken, and a bare count is refused as bad_unit.
func NewEncoderFramer(countsPerTurn int64) *EncoderFramer {
	f := &EncoderFramer{}
	if countsPerTurn > 0 {
		f.maxCount = maxCount
		if uint64(countsPerTurn) < maxCount/maxTurns {
			f.maxCount = maxTurns * uint64(countsPerTurn)
		}
	}
	f.parse, f.ends = f.line, &lineEnds
	return f
}

// MarkedBy sets the word for the index mark.
func (e *EncoderFramer) MarkedBy(word string) *EncoderFramer {
	e.mark = word
	return e
}

func (e *EncoderFramer) line(b []byte) (Sample, fault) {
	if e.mark != "" && string(b) == e.mark {
		return Sample{Kind: Index}, noFault
	}
	fl, f := scanFields(b)
	if f != noFault {
		return Sample{}, f
	}
	s := Sample{Kind: Count}
	if rest, ok := bytes.CutSuffix(fl.unit, []byte(e.mark)); ok && e.mark != "" {
		s.Mark, fl.unit = true, trim(rest)
	}
	unit, limit := uint64(1), e.maxCount
	switch string(fl.unit) {
	case "":
		if fl.num.point || e.maxCount == 0 {
			return Sample{}, faultUnit
		}
	case "deg", "DEG":
		if e.linear {
			return Sample{}, faultUnit
		}
		s.Kind, unit, limit = Angle, microdegree, maxTurns*360*microdegree
	default:
		return Sample{}, faultUnit
	}
	v, ok := fl.num.in(unit, limit)
	if !ok {
		return Sample{}, faultRange
	}
	s.Value, s.Channel = v, e.names.intern(fl.name)
	return s, noFault
}
