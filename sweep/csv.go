package sweep

import (
	"bytes"
	"fmt"
	"io"
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

// ReadCSVNamed reads a recorded sweep and hands each row to fn, in the order of the file and on the caller's goroutine.
// Names are those of the indicators where they are known beforehand: one that is not in the list is an error. Without
// them indicators are numbered in the order in which the file first names them. The format:
//
//	t_s,angle_deg,reading_mm[,indicator]
//
// Time is in seconds from any origin, the angle in degrees and unwrapped or not (empty: not known), the reading in mm
// with a decimal point. Lines starting with # are comments; CRLF, a byte order mark and empty lines are allowed. A bad
// row ends the reading with an error that names line and column; the rows before it were handed on.
func ReadCSVNamed(r io.Reader, names []string, fn func(Point) error) (CSVInfo, error) {
	c := newCSVReader(r, names, fn)
	err := c.read()
	c.info.Indicators = c.head.names
	return c.info, err
}

// header takes a line before or at the header.
func (p *csvParser) header(line []byte) error {
	p.line++
	if p.line == 1 {
		line = bytes.TrimPrefix(line, []byte("\xef\xbb\xbf"))
	}
	if line = trimLine(line); skipped(line) {
		return nil
	}
	if len(line) > maxLine {
		return p.tooLong()
	}
	return p.columnsOf(string(line))
}

func (p *csvParser) columnsOf(line string) error {
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
	return fmt.Errorf(
		"line %d: found %s where the header should be: write %s as the first row, columns parted by commas (indicator may be left out)",
		p.line, quoteShort([]byte(line)), CSVHeader)
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

func (p *csvParser) tooManyNames(name []byte) error {
	return fmt.Errorf("line %d, column indicator: found %s as one more than %d indicators: one arm carries no more",
		p.line, quoteShort(name), maxIndicators)
}

func (p *csvParser) tooLong() error {
	return fmt.Errorf("line %d: longer than %d bytes: this is not a recorded sweep", p.line, maxLine)
}

// quoteShort quotes what was found, cut to a length that fits a message.
func quoteShort(b []byte) string {
	const most = 40
	if len(b) > most {
		return fmt.Sprintf("%q...", b[:most])
	}
	return fmt.Sprintf("%q", b)
}
