package frame

import (
	"encoding/binary"
	"math"
)

// Register describes one value of a Modbus server, the indicator, read over a serial line in RTU frames (MODBUS over
// Serial Line V1.02, MODBUS Application Protocol V1.1b3). Each question reads one value:
//
//	address, function 3 or 4, first register (2), how many (2), check value (2)
//
// and is answered by
//
//	address, function, bytes that follow (1), the registers, check value (2)
//
// or, when the indicator cannot, by address, function + 0x80, reason (1), check value (2). Registers come with their
// high byte first, the check value (crc16_modbus) with its low byte first. The register is the number on the wire,
// which counts from 0; tables that count from 1 or from 40001 show one that is larger by that much.
//
// Of a port of [RoleMachine] the values are signals and counters of running time. A signal is one bit: a coil or a
// discrete input (function 1 or 2, answered by one byte of which the lowest bit counts), or one bit of a register. A
// counter has a scale in units of time.
//
// Order says how the bytes A B C D of a value of 32 bits lie on the wire, A the highest: "ABCD", "CDAB", "BADC" or
// "DCBA". A value of 16 bits has "AB" or "BA".
type Register struct {
	Address  int    `toml:"address"`
	Function int    `toml:"function"` // 3 or 4, and 1 or 2 for a signal; 0 is 3, and 2 for a signal without a bit
	Register int    `toml:"register" zero:"meant"`
	Type     string `toml:"type"`  // int16, uint16, int32, uint32, float32; "bit" for a signal
	Order    string `toml:"order"` // "" is AB or ABCD
	Scale    string `toml:"scale"` // the length, or the time, of one count
	Bit      *int   `toml:"bit"`   // of a signal in a register: which, 0 the lowest
	Channel  string `toml:"-"`     // whose value this is
}

const (
	modbusCoil   = 1 // read coils
	modbusDigit  = 2 // read discrete inputs
	modbusHold   = 3 // read holding registers
	modbusInput  = 4 // read input registers
	modbusRefuse = 0x80
	modbusHead   = 3 // address, function, how many bytes
	modbusMax    = modbusHead + 2*2 + 2
)

// modbusReason says what an exception code means (Application Protocol V1.1b3, section 7).
func modbusReason(code byte) string {
	switch code {
	case 1:
		return "it does not know the function: write another one"
	case 2:
		return "it has no such register: correct register, which counts from 0 on the wire"
	case 3:
		return "it does not take this number of registers: correct type"
	case 4:
		return "it failed"
	case 5, 6:
		return "it is busy"
	}
	return "the reason is not one of those that the standard names"
}

// Problems names every mistake with its key and its cure.
func (r Register) Problems(role Role) []Problem {
	_, ps := r.compile(role)
	return ps
}

// modbusValue is a Register taken apart.
type modbusValue struct {
	request  string
	channel  string
	words    int
	bit      int    // of a signal: which
	order    [4]int // where each byte of the value lies, highest first
	kind     string
	quantity quantity
}

func (r Register) compile(role Role) (modbusValue, []Problem) {
	if r.Type == typeBit && role == RoleMachine {
		return r.compileBit()
	}
	var ps problems
	v := modbusValue{channel: r.Channel, kind: r.Type, words: 1}
	function := r.Function
	if function == 0 {
		function = modbusHold
	}
	if function != modbusHold && function != modbusInput {
		ps.add("function", "%d; write 3 (holding registers) or 4 (input registers)", r.Function)
	}
	if r.Bit != nil {
		ps.add("bit", "%d; only a signal is one bit: remove it", *r.Bit)
	}
	ps.place(r)
	switch r.Type {
	case "int16", "uint16":
	case "int32", "uint32", "float32":
		v.words = 2
	default:
		ps.add("type", `%q; write "int16", "uint16", "int32", "uint32" or "float32"`, r.Type)
	}
	orders := map[string][4]int{"": {0, 1}, "AB": {0, 1}, "BA": {1, 0}}
	if v.words == 2 {
		orders = map[string][4]int{"": {0, 1, 2, 3}, "ABCD": {0, 1, 2, 3}, "CDAB": {2, 3, 0, 1}, "BADC": {1, 0, 3, 2},
			"DCBA": {3, 2, 1, 0}}
	}
	var known bool
	if v.order, known = orders[r.Order]; !known {
		if v.words == 2 {
			ps.add("order", `%q; write "ABCD", "CDAB", "BADC" or "DCBA"`, r.Order)
		} else {
			ps.add("order", `%q; write "AB" or "BA"`, r.Order)
		}
	}
	v.quantity = ps.quantity(role, r.Scale)
	if role.counts() && r.Type == "float32" {
		ps.add("type", `"float32"; %s source gives counts: write "int32" or another whole number`, article(role))
	}
	v.request = r.request(function, v.words)
	return v, ps
}

// place checks where a value is.
func (ps *problems) place(r Register) {
	if r.Address < 1 || r.Address > 247 {
		ps.add("address", "%d; write the address set at the instrument, 1 to 247", r.Address)
	}
	if r.Register < 0 || r.Register > 65535 {
		ps.add("register", "%d; write the number on the wire, 0 to 65535", r.Register)
	}
}

// request asks for so many registers or bits.
func (r Register) request(function, n int) string {
	req := []byte{byte(r.Address), byte(function)}
	req = binary.BigEndian.AppendUint16(req, uint16(r.Register))
	req = binary.BigEndian.AppendUint16(req, uint16(n))
	return string(binary.LittleEndian.AppendUint16(req, crcModbus(req)))
}

var crcModbus = reflectedCRC(poly8005, allOnes)

// value reads the registers' bytes.
func (v *modbusValue) value(b []byte) (Sample, fault) {
	if v.kind == typeBit {
		return v.signal(b), noFault
	}
	var raw uint32
	for i := range v.bytes() {
		raw = raw<<8 | uint32(b[v.order[i]])
	}
	s := Sample{Kind: v.quantity.kind, Channel: v.channel}
	var ok bool
	switch v.kind {
	case "int16":
		s.Value, ok = v.quantity.of(int64(int16(raw)))
	case "int32":
		s.Value, ok = v.quantity.of(int64(int32(raw)))
	case "float32":
		s.Value, ok = v.quantity.ofFraction(float64(math.Float32frombits(raw)))
	default:
		s.Value, ok = v.quantity.of(int64(raw))
	}
	if !ok {
		return Sample{}, faultRange
	}
	return s, noFault
}

// modbusFramer asks for the registers of a port in turn and decodes the answers. Only an answer to the question in
// hand, with the right check value, is taken; an echo of the question or other talk on the line is passed over.
type modbusFramer struct {
	faultCount
	values  []modbusValue
	turn    int
	open    bool
	got     bool
	proof   bool // what comes now is not to be believed yet
	at      Stamp
	refusal byte // the latest reason of an exception
	n       int  // bytes since the question
	latest  [modbusMax]byte
}

var modbusReasons = []fault{faultCheck, faultRange, faultRefused, faultNoAnswer, faultUnasked}

func newModbusFramer(registers []Register, role Role) *modbusFramer {
	f := &modbusFramer{faultCount: faultCount{reasons: modbusReasons}}
	for _, r := range registers {
		v, _ := r.compile(role)
		f.values = append(f.values, v)
	}
	f.turn = len(f.values) - 1
	return f
}

func (f *modbusFramer) Questions() int { return len(f.values) }

func (f *modbusFramer) Next(k int) string { return f.values[(f.turn+1+k)%len(f.values)].request }

func (f *modbusFramer) Asked(request string, at Stamp, proof bool) {
	f.open, f.proof = false, proof
	for range f.values {
		f.turn = (f.turn + 1) % len(f.values)
		if f.values[f.turn].request == request {
			f.open = true
			break
		}
	}
	f.got, f.at, f.n, f.refusal = false, at, 0, 0
}

func (f *modbusFramer) Answered() bool { return f.got }

// Unasked is always none: what comes when nothing is asked is not looked at.
func (f *modbusFramer) Unasked() uint64 { return 0 }

// Refused says why the latest answer was none; empty when it was one.
func (f *modbusFramer) Refused() string {
	if f.refusal == 0 {
		return ""
	}
	return modbusReason(f.refusal)
}

func (f *modbusFramer) ChannelOf(request string) string {
	for _, v := range f.values {
		if v.request == request {
			return v.channel
		}
	}
	return ""
}

func (f *modbusFramer) Silent() {
	if f.n >= modbusHead+2 {
		f.add(faultCheck) // something of that length came
	} else {
		f.add(faultNoAnswer)
	}
	f.open, f.n = false, 0
}

// Feed implements Framer.
func (f *modbusFramer) Feed(dst []Sample, p []byte, at Stamp) []Sample {
	for _, c := range p {
		if !f.open || f.got {
			break // talk of others on the line, or an answer that came too late
		}
		copy(f.latest[:], f.latest[1:])
		f.latest[len(f.latest)-1] = c
		f.n++
		dst = f.answer(dst, at)
	}
	return dst
}

// answer looks whether the latest bytes are one.
func (f *modbusFramer) answer(dst []Sample, at Stamp) []Sample {
	v := &f.values[f.turn]
	if b := f.tail(modbusHead + 2); b != nil && b[0] == v.request[0] && b[1] == v.request[1]|modbusRefuse {
		f.got, f.refusal = true, b[2]
		f.add(faultRefused)
		return dst
	}
	b := f.tail(modbusHead + v.bytes() + 2)
	if b == nil || b[0] != v.request[0] || b[1] != v.request[1] || int(b[2]) != v.bytes() {
		return dst
	}
	f.got = true
	if f.proof {
		f.add(faultUnasked)
		return dst
	}
	s, bad := v.value(b[modbusHead:])
	if bad != noFault {
		f.add(bad)
		return dst
	}
	s.At, s.Asked = at, f.at
	return append(dst, s)
}

// tail returns the latest n bytes if they are guarded by a good check value.
func (f *modbusFramer) tail(n int) []byte {
	if f.n < n {
		return nil
	}
	b := f.latest[len(f.latest)-n:]
	if crcModbus(b[:n-2]) != binary.LittleEndian.Uint16(b[n-2:]) {
		return nil
	}
	return b
}

// Reset implements Framer.
func (f *modbusFramer) Reset() { f.open, f.n = false, 0 }

func (f *modbusFramer) Begin() {}
