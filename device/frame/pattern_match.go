package frame

import (
	"strconv"
	"strings"

	"tramd/sweep/units"
)

// parse turns the form into parts.
func (f *patternFrame) parse(ps *problems, form string) {
	group := -1
	for i := 0; i < len(form); {
		switch c := form[i]; c {
		case '{':
			end := strings.IndexByte(form[i:], '}')
			if end < 0 {
				ps.add("form", `%q has a { without a }; close it, or write \{ for the sign itself`, form)
				return
			}
			f.parsePart(ps, form[i+1:i+end])
			i += end + 1
			continue
		case '[':
			if group >= 0 {
				ps.add("form", "%q has brackets within brackets; write them one after the other", form)
				return
			}
			group = len(f.parts)
			f.parts = append(f.parts, part{kind: partOptional})
		case ']':
			if group < 0 {
				ps.add("form", `%q has a ] without a [; open it, or write \] for the sign itself`, form)
				return
			}
			f.parts = append(f.parts, part{kind: partEnd})
			f.parts[group].jump = len(f.parts)
			group = -1
		case ' ', '\t':
			for i+1 < len(form) && blank(form[i+1]) {
				i++
			}
			f.parts = append(f.parts, part{kind: partBlank})
		case '\\':
			b, n, err := escaped(form[i:])
			if err != nil {
				ps.add("form", "%v", err)
				return
			}
			f.parts = append(f.parts, part{kind: partByte, byte: b})
			i += n
			continue
		default:
			f.parts = append(f.parts, part{kind: partByte, byte: c})
		}
		i++
	}
	if group >= 0 {
		ps.add("form", `%q has a [ without a ]; close it, or write \[ for the sign itself`, form)
	}
}

func (f *patternFrame) parsePart(ps *problems, text string) {
	name, width, sized := strings.Cut(text, ":")
	kind, ok := partNames[name]
	if !ok {
		ps.add("form", "{%s} is not known; write {value}, {sign}, {unit}, {channel}, {flag}, {any:3} or {rest}", text)
		return
	}
	p := part{kind: kind}
	if sized {
		n, err := strconv.Atoi(width)
		if err != nil || n < 1 || n > 64 {
			ps.add("form", "{%s}: write a width of 1 to 64 characters", text)
			return
		}
		p.width = n
	}
	if kind == partAny && !sized {
		ps.add("form", "{any} needs a width, as in {any:3}; {rest} is all that follows")
	}
	if kind == partSign || kind == partRest {
		if sized {
			ps.add("form", "{%s} has no width; write {%s}", text, name)
		}
		p.width = 0
	}
	f.parts = append(f.parts, p)
}

// found is what a match has taken so far.
type found struct {
	at                  int
	num                 decimal
	unit, channel, flag []byte
	neg, sign           bool
	digits              int // characters of num, without its sign
}

// widthOfNumber returns how many characters of a number are digits and its point.
func widthOfNumber(b []byte) (n int) {
	for _, c := range b {
		if digit(c) || point(c) {
			n++
		}
	}
	return n
}

// line matches one line.
func (f *patternFrame) line(b []byte) (Sample, fault) {
	for f.trimLeft && len(b) > 0 && blank(b[0]) {
		b = b[1:]
	}
	m, bad := f.match(b)
	if bad != noFault {
		return Sample{}, bad
	}
	return f.sample(m)
}

func (f *patternFrame) match(b []byte) (found, fault) {
	var m, before found
	group := 0 // where to go on when a group is missing; 0: in none
	for i := 0; i < len(f.parts); i++ {
		p := &f.parts[i]
		switch p.kind {
		case partOptional:
			before, group = m, p.jump
			continue
		case partEnd:
			group = 0
			continue
		}
		if f.take(p, b, &m) {
			continue
		}
		if group == 0 {
			return m, faultNoMatch
		}
		m, i, group = before, group-1, 0
	}
	rest := b[m.at:]
	if f.trimRight {
		rest = trim(rest)
	}
	if len(rest) > 0 {
		return m, faultNoMatch
	}
	return m, noFault
}

// take matches one part at m.at and moves it on.
func (f *patternFrame) take(p *part, b []byte, m *found) bool {
	rest := b[m.at:]
	n := p.width
	if n > len(rest) {
		return false
	}
	switch p.kind {
	case partByte:
		if len(rest) == 0 || rest[0] != p.byte {
			return false
		}
		n = 1
	case partBlank:
		for n < len(rest) && blank(rest[n]) {
			n++
		}
		if n == 0 {
			return false
		}
	case partSign:
		if len(rest) == 0 || !f.plus[rest[0]] && !f.minus[rest[0]] {
			return false
		}
		m.sign, m.neg, n = true, f.minus[rest[0]], 1
	case partValue:
		in := rest
		if n > 0 {
			in = trim(rest[:n])
		}
		d, left, bad := scanDecimal(in)
		if bad != noFault || n > 0 && len(left) > 0 {
			return false
		}
		if n == 0 {
			n = len(rest) - len(left)
		}
		m.num, m.digits = d, widthOfNumber(in[:len(in)-len(left)])
	case partUnit, partChannel, partFlag:
		word := rest
		if n > 0 {
			word = trim(rest[:n])
		} else {
			fits := wordByte
			if p.kind == partUnit {
				fits = unitByte
			}
			for n < len(rest) && n <= maxName && fits(rest[n]) {
				n++
			}
			if n == 0 || n > maxName {
				return false
			}
			word = rest[:n]
		}
		switch p.kind {
		case partUnit:
			m.unit = word
		case partChannel:
			m.channel = word
		default:
			m.flag = word
		}
	case partAny:
	case partRest:
		n = len(rest)
	}
	m.at += n
	return true
}

func wordByte(c byte) bool { return letter(c) || digit(c) || c == '_' }
func unitByte(c byte) bool { return letter(c) || c == '"' || c >= 0x80 }

// sample makes a reading of a match.
func (f *patternFrame) sample(m found) (Sample, fault) {
	if len(f.good) > 0 && !f.good[string(m.flag)] {
		return Sample{}, faultStatus
	}
	d := m.num
	f.digits = m.digits
	if m.sign {
		if d.signed {
			return Sample{}, faultNumber
		}
		d.neg = m.neg
	}
	if f.decimals > 0 {
		if d.point {
			return Sample{}, faultNumber
		}
		d.frac = f.decimals
	}
	s := Sample{Kind: Length}
	unit, limit := f.unit, uint64(units.MaxLength)
	if f.count {
		if d.point {
			return Sample{}, faultNumber
		}
		s.Kind, unit, limit = Count, 1, maxCount
	} else if len(m.unit) > 0 {
		if f.units != nil {
			unit = f.units[string(m.unit)]
		} else {
			unit = lengthUnit(m.unit)
		}
		if unit == 0 {
			return Sample{}, faultUnit
		}
	}
	v, ok := d.in(uint64(unit), limit)
	if !ok {
		return Sample{}, faultRange
	}
	s.Value, s.Channel = v, f.names.intern(m.channel)
	return s, noFault
}
