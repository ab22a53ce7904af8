package frame

import (
	"strconv"
	"strings"

	"tramd/sweep/units"
)

// Pattern describes a line of text by a form of the user's own. In the form
//
//	{value}     a number: an optional sign, digits, at most one point or comma
//	{sign}      one character of plus or minus, where the sign does not stand at the digits; the value then has none
//	{unit}      letters, by the table units; without the table mm, um and in are known
//	{channel}   letters and digits
//	{flag}      letters and digits; a line whose flag is not in good_flags is no reading
//	{any:3}     so many characters, whatever they are; {rest} is whatever follows, to the end
//	[...]       may be missing
//	a blank     one blank or more; blanks around the line are not looked at
//	\x02        that byte; \[ \] \{ \} \\ are the signs themselves
//	the rest    stands for itself
//
// A width, as in {value:8}, takes exactly so many characters, blanks among them. A line ends at CR or LF, or at any
// character of end.
//
// The form is a small language of its own, not a regular expression, for two reasons. Two parts that could share out
// their characters in more than one way are refused when the form is read, with what to write instead, where a regular
// expression picks one split in silence and so may read a wrong number. And a match is one pass that allocates nothing,
// where Go's regexp allocates for each match and takes longer (BenchmarkPattern compares them).
type Pattern struct {
	Form      string            `toml:"form"`
	End       string            `toml:"end"`
	Plus      string            `toml:"plus"`                  // characters of {sign}; "" is "+" and the blank
	Minus     string            `toml:"minus"`                 // "" is "-"
	Decimals  int               `toml:"decimals" zero:"meant"` // of a value without a point: 3 makes 12345 to 12.345
	Unit      string            `toml:"unit"`                  // of a line without {unit}; "" is mm
	Units     map[string]string `toml:"units"`
	GoodFlags []string          `toml:"good_flags"`
}

// partKind is what one step of a form matches.
type partKind uint8

const (
	partByte     partKind = iota + 1
	partBlank             // one or more
	partValue             //
	partSign              //
	partUnit              //
	partChannel           //
	partFlag              //
	partAny               //
	partRest              //
	partOptional          // a group that may be missing; jump is behind its end
	partEnd               // the end of a group
)

var partNames = map[string]partKind{
	"value": partValue, "sign": partSign, "unit": partUnit, "channel": partChannel, "flag": partFlag, "any": partAny,
	"rest": partRest,
}

type part struct {
	kind  partKind
	byte  byte
	width int // 0: as many as fit
	jump  int
}

// patternFrame is a Pattern taken apart.
type patternFrame struct {
	parts     []part
	trimLeft  bool
	trimRight bool
	ends      [256]bool
	plus      [256]bool
	minus     [256]bool
	decimals  int
	unit      units.Length
	units     map[string]units.Length // nil: those of a text line
	good      map[string]bool
	names     names
	count     bool
	digits    int // characters of the number of the line that was read last, without its sign
}

// Problems names every mistake with its key and its cure.
func (p Pattern) Problems(role Role) []Problem {
	_, ps := p.compile(role)
	return ps
}

func (p Pattern) compile(role Role) (*patternFrame, []Problem) {
	var ps problems
	f := &patternFrame{decimals: p.Decimals, unit: units.Millimetre, count: role.counts()}
	f.parse(&ps, p.Form)
	if len(ps) > 0 {
		return f, ps // what is not read to its end has no parts to speak of
	}
	f.checkParts(&ps, p)
	set := func(table *[256]bool, text, otherwise string) {
		if text == "" {
			text = otherwise
		}
		for i := range len(text) {
			table[text[i]] = true
		}
	}
	end, err := unescape(p.End)
	if err != nil {
		ps.add("end", "%v", err)
	}
	set(&f.ends, end, "\r\n")
	set(&f.plus, p.Plus, "+ ")
	set(&f.minus, p.Minus, "-")
	for c := range f.plus {
		if f.plus[c] && f.minus[c] {
			ps.add("minus", "%q means plus as well; write each character in one of the two", byte(c))
		}
	}
	switch {
	case f.count && p.Decimals != 0:
		ps.add("decimals", "%d; an angle source gives counts, which have no decimals: remove it", p.Decimals)
	case p.Decimals < 0 || p.Decimals > 9:
		ps.add("decimals", "%d; write 0 to 9", p.Decimals)
	}
	if p.Unit != "" {
		var ok bool
		if f.unit, ok = units.LengthUnit(p.Unit); !ok {
			ps.add("unit", `%q; write "mm", "um" or "in"`, p.Unit)
		}
	}
	if len(p.Units) > 0 {
		f.units = map[string]units.Length{}
	}
	for word, name := range p.Units {
		u, ok := units.LengthUnit(name)
		if !ok {
			ps.add("units", `%q = %q; write "mm", "um" or "in", for example { "M" = "mm" }`, word, name)
		}
		f.units[word] = u
	}
	f.good = map[string]bool{}
	for _, g := range p.GoodFlags {
		f.good[strings.TrimSpace(g)] = true
	}
	if f.count && (p.Unit != "" || len(p.Units) > 0) {
		ps.add("form", "an angle source gives counts, which have no unit: remove it")
	}
	return f, ps
}

// checkParts refuses what is missing, what is there twice, and what could be read in two ways.
func (f *patternFrame) checkParts(ps *problems, p Pattern) {
	seen := map[partKind]int{}
	for _, x := range f.parts {
		seen[x.kind]++
	}
	for name, kind := range partNames {
		if seen[kind] > 1 && kind != partAny {
			ps.add("form", "{%s} is in it twice; write it once, and {any:N} for what else is like it", name)
		}
	}
	if seen[partValue] == 0 {
		ps.add("form", `%q has no {value}; write it where the number stands, for example "{value} {unit}"`, p.Form)
	}
	inside := false
	for _, x := range f.parts {
		inside = x.kind == partOptional || inside && x.kind != partEnd
		if inside && x.kind == partValue {
			ps.add("form", "{value} stands in brackets, so a line could be without it; write it outside them")
		}
	}
	if (seen[partFlag] > 0) != (len(p.GoodFlags) > 0) {
		ps.add("good_flags",
			`write {flag} in the form and in good_flags the flags of a good reading, or neither; an empty text in the list stands for no flag`)
	}
	if seen[partSign] == 0 && p.Plus+p.Minus != "" {
		ps.add(
			"form", "plus or minus is written, but there is no {sign}; write it where the sign stands, or remove them")
	}
	if seen[partUnit] == 0 && len(p.Units) > 0 {
		ps.add("form", "units are written, but there is no {unit}; write it where the unit stands, or remove them")
	}
	for i, x := range f.parts {
		if x.width > 0 || x.kind != partValue && x.kind != partChannel && x.kind != partFlag && x.kind != partUnit {
			continue
		}
		for _, next := range f.follow(i+1, nil) {
			if clash(x.kind, next) {
				ps.add(
					"form",
					"%s runs into %s, so a line could be read in two ways; give the first a width, as in {%s:2}, or write what stands between them",
					partName(x), partName(next), strings.Trim(partName(x), "{}"))
			}
		}
	}
	f.trimLeft, f.trimRight = true, true
	if n := len(f.parts); n > 0 {
		first, last := f.parts[0], f.parts[n-1]
		f.trimLeft = first.width == 0 && first.kind != partBlank && first.kind != partSign
		f.trimRight = last.width == 0 && last.kind != partBlank && last.kind != partSign
	}
}

// follow lists what may stand directly behind the parts before at.
func (f *patternFrame) follow(at int, out []part) []part {
	for at < len(f.parts) {
		switch x := f.parts[at]; x.kind {
		case partEnd:
			at++
		case partOptional:
			out = f.follow(at+1, out)
			at = x.jump
		default:
			return append(out, x)
		}
	}
	return out
}

// clash reports whether a part without a width could take what belongs to the next.
func clash(kind partKind, next part) bool {
	switch next.kind {
	case partByte:
		c := next.byte
		switch kind {
		case partValue:
			return digit(c) || point(c)
		case partUnit:
			return unitByte(c)
		}
		return wordByte(c)
	case partBlank, partRest:
		return false
	case partUnit:
		return kind != partValue
	case partValue, partChannel, partFlag, partAny:
		return true
	}
	return false
}

func partName(p part) string {
	for name, kind := range partNames {
		if kind == p.kind {
			return "{" + name + "}"
		}
	}
	return strconv.Quote(string(rune(p.byte)))
}

var patternReasons = []fault{faultNoMatch, faultTooLong, faultNumber, faultUnit, faultRange, faultStatus, faultWidth}

func (p Pattern) framer(role Role, _ bool) Framer {
	f, _ := p.compile(role)
	l := &lines{parse: f.line, ends: &f.ends, raw: true}
	l.reasons = patternReasons
	if !f.count { // a count's width changes as the arm turns, and the encoder's own course shows a wrong one
		l.width = func([]byte, string) int { return f.digits }
	}
	return l
}
