package sweep

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"unicode/utf8"
)

// CSVHeader is the first row of a recorded sweep; the last column may be left out.
const CSVHeader = "t_s,angle_deg,reading_mm,indicator"

var csvColumns = [...]string{"t_s", "angle_deg", "reading_mm", "indicator"}

// maxLine is far longer than a row of four columns can be; a longer line means the file is something else.
const maxLine = 64 << 10

// CSVInfo says what a recorded sweep held.
type CSVInfo struct {
	Rows       int      // readings
	Unknown    int      // of which the angle is not known
	Indicators []string // names, by index; empty where the file has no such column
}

// ReadCSV reads a recorded sweep row by row and hands each to fn. Indicators are numbered in the order in which the file
// first names them. The format:
//
//	t_s,angle_deg,reading_mm[,indicator]
//
// Time is in seconds from any origin, the angle in degrees and unwrapped or not (empty: not known), the reading in mm
// with a decimal point. Lines starting with # are comments; CRLF, a byte order mark and empty lines are allowed. A bad
// row ends the reading with an error that names line and column; the rows before it were handed on.
func ReadCSV(r io.Reader, fn func(Point) error) (CSVInfo, error) { return ReadCSVNamed(r, nil, fn) }

// ReadCSVNamed is ReadCSV with the indicators known beforehand: a name that is not in the list is an error. An empty list
// means that they are not known.
func ReadCSVNamed(r io.Reader, names []string, fn func(Point) error) (CSVInfo, error) {
	p := csvParser{fn: fn, fixed: len(names) > 0}
	p.info.Indicators = append(p.info.Indicators, names...)
	buf := make([]byte, 4*maxLine)
	fill := 0
	for {
		n, err := r.Read(buf[fill:])
		fill += n
		used, bad := p.lines(buf[:fill])
		if bad != nil {
			return p.info, bad
		}
		fill = copy(buf, buf[used:fill])
		if fill > maxLine {
			return p.info, fmt.Errorf("line %d: longer than %d bytes: this is not a recorded sweep", p.line+1, maxLine)
		}
		switch {
		case errors.Is(err, io.EOF):
			return p.info, p.end(buf[:fill])
		case err != nil:
			return p.info, fmt.Errorf("after line %d: %w", p.line, err)
		}
	}
}

type csvParser struct {
	fn      func(Point) error
	info    CSVInfo
	fixed   bool // the names were given
	line    int
	columns int // of the header; 0 until it was seen
	last    int // indicator of the row before: most files name the same one all along
}

// lines takes all whole lines and gives the number of bytes used.
func (p *csvParser) lines(data []byte) (int, error) {
	used := 0
	for {
		end := bytes.IndexByte(data[used:], '\n')
		if end < 0 {
			return used, nil
		}
		if err := p.one(data[used : used+end]); err != nil {
			return used, err
		}
		used += end + 1
	}
}

// end takes a last line without a line feed.
func (p *csvParser) end(rest []byte) error {
	if len(rest) > 0 {
		if err := p.one(rest); err != nil {
			return err
		}
	}
	if p.columns == 0 {
		return fmt.Errorf("line 1: the file is empty: begin it with the header %s", CSVHeader)
	}
	return nil
}

func (p *csvParser) one(line []byte) error {
	p.line++
	if p.line == 1 {
		line = bytes.TrimPrefix(line, []byte("\xef\xbb\xbf"))
	}
	if n := len(line); n > 0 && line[n-1] == '\r' {
		line = line[:n-1]
	}
	if blank(line) || line[0] == '#' {
		return nil
	}
	if p.columns == 0 {
		return p.header(string(line))
	}
	return p.row(line)
}

func (p *csvParser) header(line string) error {
	if strings.IndexByte(line, 0) >= 0 || !utf8.ValidString(line) {
		return fmt.Errorf("line %d: not plain text: save the file as UTF-8", p.line)
	}
	got := strings.Split(line, ",")
	for i := range got {
		got[i] = strings.ToLower(strings.Trim(strings.TrimSpace(got[i]), `"`))
	}
	if len(got) >= 3 && len(got) <= len(csvColumns) {
		same := true
		for i := range got {
			same = same && got[i] == csvColumns[i]
		}
		if same {
			p.columns = len(got)
			return nil
		}
	}
	return fmt.Errorf("line %d: found %s where the header should be: write %s as the first row, columns parted by commas (indicator may be left out)",
		p.line, quoteShort([]byte(line)), CSVHeader)
}

func (p *csvParser) row(line []byte) error {
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
		return p.wrongCount(line, n)
	}

	var pt Point
	var ok bool
	if pt.T, ok = parseDecimal(fields[0]); !ok {
		return p.badNumber(0, fields[0], "a time in seconds such as 12.345")
	}
	if len(fields[1]) == 0 {
		pt.Angle = math.NaN()
		p.info.Unknown++
	} else if pt.Angle, ok = parseDecimal(fields[1]); !ok {
		return p.badNumber(1, fields[1], "an angle in degrees such as 271.5, or nothing where it is not known")
	} else {
		pt.Angle = Radians(pt.Angle)
	}
	if pt.Reading, ok = parseDecimal(fields[2]); !ok {
		return p.badNumber(2, fields[2], "a reading in mm such as -0.012, or take the row out")
	}
	if p.columns > 3 {
		var err error
		if pt.Indicator, err = p.indicator(fields[3]); err != nil {
			return err
		}
	}
	p.info.Rows++
	if err := p.fn(pt); err != nil {
		return fmt.Errorf("line %d: %w", p.line, err)
	}
	return nil
}

func (p *csvParser) indicator(name []byte) (int, error) {
	known := p.info.Indicators
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
		return 0, fmt.Errorf("line %d, column indicator: found %s: the setup knows %s", p.line, quoteShort(name), strings.Join(known, ", "))
	case len(known) >= maxIndicators:
		return 0, fmt.Errorf("line %d, column indicator: found %s as one more than %d indicators: one arm carries no more", p.line, quoteShort(name), maxIndicators)
	}
	p.last = len(known)
	p.info.Indicators = append(known, string(name))
	return p.last, nil
}

func (p *csvParser) badNumber(column int, found []byte, want string) error {
	what := quoteShort(found)
	if len(found) == 0 {
		what = "nothing"
	}
	return fmt.Errorf("line %d, column %s: found %s: write %s", p.line, csvColumns[column], what, want)
}

func (p *csvParser) wrongCount(line []byte, n int) error {
	cure := "write " + strings.Join(csvColumns[:p.columns], ",")
	switch {
	case bytes.IndexByte(line, ';') >= 0:
		cure = "part columns by commas, not semicolons"
	case n > p.columns:
		cure += ", with a decimal point and not a comma"
	}
	return fmt.Errorf("line %d: found %d columns, not %d, in %s: %s", p.line, n, p.columns, quoteShort(line), cure)
}

// quoteShort quotes what was found, cut to a length that fits a message.
func quoteShort(b []byte) string {
	const most = 40
	if len(b) > most {
		return fmt.Sprintf("%q...", b[:most])
	}
	return fmt.Sprintf("%q", b)
}
