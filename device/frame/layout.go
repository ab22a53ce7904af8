package frame

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

// Role says what a device measures.
type Role uint8

// Roles of a device.
const (
	RoleIndicator Role = iota + 1
	RoleAngle
	RoleTrigger  // a foot switch or button
	RoleMachine  // what the machine says of itself: signals, and counters of its running time
	RolePosition // a linear scale along a travel
)

func (r Role) String() string {
	switch r {
	case RoleIndicator:
		return "indicator"
	case RoleAngle:
		return "angle"
	case RoleTrigger:
		return "trigger"
	case RoleMachine:
		return "machine"
	case RolePosition:
		return "position"
	}
	return "unknown role"
}

// counts reports whether a device of a role sends bare counts, which its reader scales.
func (r Role) counts() bool { return r == RoleAngle || r == RolePosition }

// Layout describes what comes through a port, byte for byte.
type Layout struct {
	Role          Role
	Frame         string // one of the kinds above
	Pattern       *Pattern
	Digits        *Digits
	Binary        *Binary
	Registers     []Register // of "modbus": one for each value of the port
	Asks          []Ask      // of an instrument that sends only when it is asked, but for "modbus"
	CountsPerTurn int64      // of "encoder": 0 when it sends degrees
	IndexMark     string     // of "encoder" and "pulse": the word for its index mark; empty = it has none
}

// Check refuses a frame that does not fit the role, or whose description is missing or wrong.
func (l Layout) Check(plain string) error {
	missing := fmt.Errorf("frame %q is not described: add its table", l.Frame)
	if l.Role == RoleTrigger && l.Frame != FramePulse {
		return fmt.Errorf("frame %q does not fit %s: write frame = %q", l.Frame, l.Role, FramePulse)
	}
	if l.Role == RoleMachine && l.Frame != FrameModbus {
		return fmt.Errorf("frame %q does not fit %s: write frame = %q", l.Frame, l.Role, FrameModbus)
	}
	switch l.Frame {
	case FrameModbus:
		if len(l.Registers) == 0 {
			return missing
		}
		for _, r := range l.Registers {
			if err := joinProblems(l.Frame, r.Problems(l.Role)); err != nil {
				return err
			}
		}
		return nil
	case plain:
		return nil
	case FramePulse:
		if l.Role == RoleAngle {
			return nil
		}
	case FramePattern:
		if l.Pattern == nil {
			return missing
		}
		return joinProblems(l.Frame, l.Pattern.Problems(l.Role))
	case FrameDigits:
		if l.Digits == nil {
			return missing
		}
		return joinProblems(l.Frame, l.Digits.Problems(l.Role))
	case FrameBinary:
		if l.Binary == nil {
			return missing
		}
		return joinProblems(l.Frame, l.Binary.Problems(l.Role))
	}
	return fmt.Errorf("frame %q does not fit %s: write frame = %q, or %q, %q, %q or %q with its table",
		l.Frame, l.Role, plain, FramePattern, FrameDigits, FrameBinary, FrameModbus)
}

// Framer returns the framer of a checked layout.
func (l Layout) Framer() Framer {
	asked := len(l.Asks) > 0
	var f Framer
	switch l.Frame {
	case FramePulse:
		return NewPulseFramer().MarkedBy(l.IndexMark)
	case FrameEncoder:
		e := NewEncoderFramer(l.CountsPerTurn).MarkedBy(l.IndexMark)
		if l.Role == RolePosition {
			e.maxCount, e.linear = maxCount, true
		}
		f = e
	case FramePattern:
		f = l.Pattern.framer(l.Role, asked)
	case FrameDigits:
		f = l.Digits.framer(l.Role, asked)
	case FrameBinary:
		f = l.Binary.framer(l.Role, asked)
	case FrameModbus:
		return newModbusFramer(l.Registers, l.Role)
	default:
		f = NewTextFramer()
	}
	if asked {
		return newAskFramer(f, l.Asks)
	}
	return f
}
