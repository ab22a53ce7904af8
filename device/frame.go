package device

import "fmt"

// Kinds of frame.
const (
	FrameText    = "text"
	FrameEncoder = "encoder"
	FramePattern = "pattern"
	FrameDigits  = "digits"
	FrameBinary  = "binary"
	FrameModbus  = "modbus"
	FramePulse   = "pulse"
)

// checkFrame refuses a frame that does not fit the role, or whose description is missing or wrong.
func (s Spec) checkFrame(plain string) error {
	missing := fmt.Errorf("frame %q is not described: add its table", s.Frame)
	if s.Role == RoleTrigger && s.Frame != FramePulse {
		return fmt.Errorf("frame %q does not fit %s: write frame = %q", s.Frame, s.Role, FramePulse)
	}
	if s.Role == RoleMachine && s.Frame != FrameModbus {
		return fmt.Errorf("frame %q does not fit %s: write frame = %q", s.Frame, s.Role, FrameModbus)
	}
	switch s.Frame {
	case FrameModbus:
		if len(s.Registers) == 0 {
			return missing
		}
		for _, r := range s.Registers {
			if err := joinProblems(s.Frame, r.Problems(s.Role)); err != nil {
				return err
			}
		}
		return nil
	case plain:
		return nil
	case FramePulse:
		if s.Role == RoleAngle {
			return nil
		}
	case FramePattern:
		if s.Pattern == nil {
			return missing
		}
		return joinProblems(s.Frame, s.Pattern.Problems(s.Role))
	case FrameDigits:
		if s.Digits == nil {
			return missing
		}
		return joinProblems(s.Frame, s.Digits.Problems(s.Role))
	case FrameBinary:
		if s.Binary == nil {
			return missing
		}
		return joinProblems(s.Frame, s.Binary.Problems(s.Role))
	}
	return fmt.Errorf("frame %q does not fit %s: write frame = %q, or %q, %q, %q or %q with its table",
		s.Frame, s.Role, plain, FramePattern, FrameDigits, FrameBinary, FrameModbus)
}

// framer makes the framer of a checked spec.
func (s Spec) framer() Framer {
	asked := len(s.Asking.Asks) > 0
	var f Framer
	switch s.Frame {
	case FramePulse:
		return NewPulseFramer().MarkedBy(s.IndexMark)
	case FrameEncoder:
		f = NewEncoderFramer(s.CountsPerTurn).MarkedBy(s.IndexMark)
	case FramePattern:
		f = s.Pattern.framer(s.Role, asked)
	case FrameDigits:
		f = s.Digits.framer(s.Role, asked)
	case FrameBinary:
		f = s.Binary.framer(s.Role, asked)
	case FrameModbus:
		return newModbusFramer(s.Registers, s.Role)
	default:
		f = NewTextFramer()
	}
	if asked {
		return newAskFramer(f, s.Asking.Asks)
	}
	return f
}
