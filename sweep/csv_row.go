package sweep

import (
	"bytes"
	"fmt"
	"math"
	"strings"
)

// csvParser turns lines into points. It keeps nothing between blocks but what it was made with.
type csvParser struct {
	columns int      // of the header; 0 until it was seen
	fixed   bool     // the names were given
	names   []string // of the indicators
	line    int      // the latest
	last    int      // indicator of the row before: most files name the same one all along
}

// lines parses whole lines, the last with or without its line feed, up to the first bad one.
func (p *csvParser) lines(pts []Point, data []byte) ([]Point, error) {
	for len(data) > 0 {
		p.line++
		if pt, n := p.quickRow(data); n > 0 {
			pts, data = append(pts, pt), data[n:]
			continue
		}
		line := data
		if end := bytes.IndexByte(data, '\n'); end >= 0 {
			line, data = data[:end], data[end+1:]
		} else {
			data = nil
		}
		if len(line) > maxLine {
			return pts, p.tooLong()
		}
		if line = trimLine(line); skipped(line) {
			continue
		}
		pt, err := p.row(line)
		if err != nil {
			return pts, err
		}
		pts = append(pts, pt)
	}
	return pts, nil
}

// quickRow takes a row of plain numbers and, if there is one, the same indicator as in the row before, without looking
// at any byte twice. It gives the bytes used, or 0 for anything else.
func (p *csvParser) quickRow(data []byte) (pt Point, used int) {
	var values [3]float64
	at := 0
	for i := range values {
		v, n := scanDecimal(data[at:])
		at += n
		if n == 0 || at >= len(data) {
			return pt, 0
		}
		values[i] = v
		if i < 2 {
			if data[at] != ',' {
				return pt, 0
			}
			at++
		}
	}
	pt = Point{T: values[0], Angle: Radians(values[1]), Reading: values[2]}
	if p.columns > 3 {
		if p.last >= len(p.names) {
			return pt, 0
		}
		name := p.names[p.last]
		end := at + 1 + len(name)
		if data[at] != ',' || end >= len(data) || string(data[at+1:end]) != name {
			return pt, 0
		}
		pt.Indicator, at = p.last, end
	}
	if data[at] == '\r' && at+1 < len(data) {
		at++
	}
	if data[at] != '\n' {
		return pt, 0
	}
	return pt, at + 1
}

// trimLine takes off the carriage return of a line that ended in CR LF.
func trimLine(line []byte) []byte {
	if n := len(line); n > 0 && line[n-1] == '\r' {
		line = line[:n-1]
	}
	return line
}

// skipped reports whether a line carries nothing: blank, or a comment.
func skipped(line []byte) bool { return blank(line) || line[0] == '#' }

// row takes a row of any legal form; quickRow has seen to the common one.
func (p *csvParser) row(line []byte) (pt Point, err error) {
	var fields [len(csvColumns)][]byte
	n, rest := 0, line
	for more := true; more; n++ {
		var field []byte
		if i := bytes.IndexByte(rest, ','); i >= 0 {
			field, rest = rest[:i], rest[i+1:]
		} else {
			field, more = rest, false
		}
		if n < p.columns {
			fields[n] = trimField(field)
		}
	}
	if n != p.columns {
		return pt, p.wrongCount(line, n)
	}

	var ok bool
	if pt.T, ok = parseDecimal(fields[0]); !ok {
		return pt, p.badNumber(0, fields[0], "a time in seconds such as 12.345")
	}
	if len(fields[1]) == 0 {
		pt.Angle = math.NaN()
	} else if pt.Angle, ok = parseDecimal(fields[1]); !ok {
		return pt, p.badNumber(1, fields[1], "an angle in degrees such as 271.5, or nothing where it is not known")
	} else {
		pt.Angle = Radians(pt.Angle)
	}
	if pt.Reading, ok = parseDecimal(fields[2]); !ok {
		return pt, p.badNumber(2, fields[2], "a reading in mm such as -0.012, or take the row out")
	}
	if p.columns > 3 {
		pt.Indicator, err = p.indicator(fields[3])
	}
	return pt, err
}

func (p *csvParser) indicator(name []byte) (int, error) {
	known := p.names
	if p.last < len(known) && known[p.last] == string(name) {
		return p.last, nil
	}
	for i := range known {
		if known[i] == string(name) {
			p.last = i
			return i, nil
		}
	}
	switch {
	case len(name) == 0:
		return 0, fmt.Errorf("line %d, column indicator: found nothing: write the name of the indicator", p.line)
	case p.fixed:
		return 0, fmt.Errorf("line %d, column indicator: found %s: the setup knows %s", p.line, quoteShort(name),
			strings.Join(known, ", "))
	case len(known) >= maxIndicators:
		return 0, p.tooManyNames(name)
	}
	p.last = len(known)
	p.names = append(known, string(name))
	return p.last, nil
}
