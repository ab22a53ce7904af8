package sweep

import "math"

// ScaleOptions describe a linear scale along a travel.
type ScaleOptions struct {
	CountsPerMM float64
	Reversed    bool    // counts fall as the position grows
	CounterBits int     // width at which the counter wraps: 16, 24, 32; 0 = it counts on
	MaxGapS     float64 // as of an encoder
	ZeroMM      float64 // position at count 0
}

// Scale tags readings with the position along a travel, as an [Encoder] tags them with an angle: it is one whose turn
// is a stretch of the scale. All that an encoder knows of late stamps, of damaged lines and of counts that jump holds
// for it.
//
// A Scale is for one goroutine.
type Scale struct {
	encoder *Encoder
	emit    func(Point)
	perRad  float64 // mm in a radian
	zeroMM  float64
}

// stretchMM is the stretch that stands for a turn. It sets what is taken for a jump: an axis that a hand winds or
// pushes starts and stops harder than an arm turns, and a position need be far less certain than an angle, since a
// reading changes by some thousandths of what it is off.
const stretchMM = 500

// NewScale returns a tagger that hands each reading to emit: the Angle of each is its position in mm, or NaN where that
// is not certain. The options must have counts.
func NewScale(o ScaleOptions, emit func(Point)) *Scale {
	n := math.Max(4, math.Round(stretchMM*o.CountsPerMM))
	s := &Scale{
		encoder: NewEncoder(EncoderOptions{CountsPerTurn: int64(n), Reversed: o.Reversed, CounterBits: o.CounterBits,
			MaxGapS: o.MaxGapS, CountsOn: true}),
		perRad: n / o.CountsPerMM / (2 * math.Pi), zeroMM: o.ZeroMM,
	}
	s.emit = func(p Point) {
		p.Angle = s.mm(p.Angle)
		emit(p)
	}
	return s
}

// Position returns the latest position in mm, and when it was measured.
func (s *Scale) Position() (mm, at float64, known bool) {
	rad, at, known := s.encoder.Angle()
	return s.mm(rad), at, known
}

// SetPosition says where the axis stands now; known reports whether the scale has spoken.
func (s *Scale) SetPosition(mm float64) (known bool) {
	now, _, known := s.Position()
	if known {
		s.zeroMM += mm - now
	}
	return known
}

// AddCount takes a count measured at t and emits the readings it brackets.
func (s *Scale) AddCount(t float64, count int64) { s.encoder.AddCount(t, count, false, s.emit) }

// AddReading takes a reading measured at t, as [Encoder.AddReading] does.
func (s *Scale) AddReading(t, mm float64, indicator int) {
	s.encoder.AddReading(t, mm, indicator, s.emit)
}

// Slack says by how many seconds the counts that follow may have come later than they are stamped.
func (s *Scale) Slack(seconds float64) { s.encoder.Slack(seconds) }

// Jumps counts the samples that no axis could have reached. After one no position is known until Lose.
func (s *Scale) Jumps() int { return s.encoder.Jumps() }

// Lose forgets where the axis is: the count may start over.
func (s *Scale) Lose() { s.encoder.Lose(s.emit) }

// Flush emits every reading that waits with an unknown position.
func (s *Scale) Flush() { s.encoder.Flush(s.emit) }

func (s *Scale) mm(rad float64) float64 { return s.zeroMM + rad*s.perRad }
