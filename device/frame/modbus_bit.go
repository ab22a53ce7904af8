package frame

// typeBit is the type of a signal.
const typeBit = "bit"

// compileBit takes a signal apart.
func (r Register) compileBit() (modbusValue, []Problem) {
	var ps problems
	v := modbusValue{channel: r.Channel, kind: typeBit}
	function := r.Function
	if function == 0 {
		function = modbusDigit
		if r.Bit != nil {
			function = modbusHold
		}
	}
	switch function {
	case modbusCoil, modbusDigit:
		if r.Bit != nil {
			ps.add("bit", "%d; a coil or a discrete input is one bit by itself: remove it, or write function = 3 or 4",
				*r.Bit)
		}
	case modbusHold, modbusInput:
		v.words = 1
		switch {
		case r.Bit == nil:
			ps.add("bit", "missing; write which bit of the register is the signal, 0 the lowest, 15 the highest")
		case *r.Bit < 0 || *r.Bit > 15:
			ps.add("bit", "%d; write which bit of the register is the signal, 0 the lowest, 15 the highest", *r.Bit)
		default:
			v.bit = *r.Bit
		}
	default:
		ps.add("function", "%d; write 1 (coils), 2 (discrete inputs), 3 (holding registers) or 4 (input registers)",
			r.Function)
	}
	if r.Scale != "" {
		ps.add("scale", "%q; a signal is on or off: remove it", r.Scale)
	}
	if r.Order != "" {
		ps.add("order", "%q; a bit is counted in the register's own order: remove it", r.Order)
	}
	ps.place(r)
	v.request = r.request(function, 1)
	return v, ps
}

// bytes is how many an answer brings: bits come eight to a byte (Application Protocol V1.1b3, 6.1 and 6.2).
func (v *modbusValue) bytes() int { return max(1, 2*v.words) }

// signal reads the bit.
func (v *modbusValue) signal(b []byte) Sample {
	word := uint16(b[0])
	if v.words == 1 {
		word = word<<8 | uint16(b[1])
	}
	return Sample{Kind: Level, Value: int64(word >> v.bit & 1), Channel: v.channel}
}
