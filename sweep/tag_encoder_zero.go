package sweep

import "math"

// Place returns how far the arm has turned in the encoder's own units, unwrapped. It says nothing of a direction, and
// is what a person's pointing is measured by.
func (e *Encoder) Place() (units int64, known bool) { return e.pos, e.have }

// TravelDeg returns the degrees of the spindle between two places, positive where the encoder counts up.
func (e *Encoder) TravelDeg(from, to int64) float64 {
	return Degrees(float64(to-from) * math.Abs(e.unit))
}

// Reversed reports whether counts fall as the spindle turns counter-clockwise, as far as it is known.
func (e *Encoder) Reversed() bool { return e.o.Reversed }

// ZeroDeg returns the spindle angle, in [0, 360), at which the encoder shows zero.
func (e *Encoder) ZeroDeg() float64 { return Degrees(Wrap(e.angleAt(0))) }

// SetZero takes the place at which the arm pointed right, and which way counts go. Angles that were given before do not
// join with those that follow.
func (e *Encoder) SetZero(right int64, reversed bool) {
	if e.o.Reversed != reversed {
		e.o.Reversed, e.unit = reversed, -e.unit
	}
	e.origin = -float64(right) * e.unit
	e.placed = true
	for i := range e.past { // a late reading may still ask for them
		e.past[i].known, e.past[i].certain = false, false
	}
	if e.n > 0 {
		e.past[(e.n-1)%pastFixes].angle = e.angleAt(e.pos)
	}
	e.strides.forget()
	if deg, ok := e.MarkDeg(); ok || e.o.IndexDeg != nil {
		e.o.IndexDeg = nil
		if ok {
			e.o.IndexDeg = &deg
		}
	}
}

// MarkDeg returns the spindle angle at the index mark, once the mark was passed where the angle is known. A geared
// encoder passes its mark at several.
func (e *Encoder) MarkDeg() (deg float64, known bool) {
	if !e.mark.seen || !e.placed || e.o.SpindleTeeth != e.o.EncoderTeeth {
		return 0, false
	}
	return Degrees(Wrap(e.angleAt(e.mark.pos))), true
}

// ForgetMark lets go of the spindle angle at the index mark: the encoder was mounted again.
func (e *Encoder) ForgetMark() { e.o.IndexDeg = nil }

// Heard returns when the latest sample was measured.
func (e *Encoder) Heard() (t float64, known bool) {
	if !e.have {
		return 0, false
	}
	return e.last().t, true
}

// KeptByMark reports whether a loss of the count leaves the zero known, since the spindle angle at the index mark is.
func (e *Encoder) KeptByMark() bool { return e.o.IndexDeg != nil }

// KeepBy has the zero kept by the index mark, at which the spindle stands at that angle: after a loss of the count no
// angle is known until the mark is passed.
func (e *Encoder) KeepBy(deg float64) { e.o.IndexDeg = &deg }
