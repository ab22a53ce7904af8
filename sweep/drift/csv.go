package drift

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"tramd/sweep"
)

// CSVHeader is the first row of a history of checks, and TemperatureColumn the name of one more column that it may
// have.
const (
	CSVHeader         = "time,tilt_mm_per_m,tilt_u_mm_per_m,nod_mm_per_m,nod_u_mm_per_m,spindle_hours,event"
	TemperatureColumn = "temperature_c"
)

// Columns of a history, in the header's order.
const (
	colTime = iota
	colTilt
	colTiltU
	colNod
	colNodU
	colHours
	colEvent
	colTemperature
	columns
)

var columnNames = append(strings.Split(CSVHeader, ","), TemperatureColumn)

// maxLean in mm/m is far more than a spindle can lean; a larger figure is another unit or a slip.
const maxLean = 1e6

// notSet is the year before which no check can have been taken: the clock had not been set.
const notSet = 2000

// History is a record of checks and events in the order of their time, and what must be said about it.
type History struct {
	Entries  []Entry
	Warnings []sweep.Warning
	// Undated is how many checks without a believable time came after the last dated one: the newest state is not known
	// then.
	Undated int
	Plan    Plan // of the interval between checks
	// Left is how many checks were left out once they had been worked through.
	Left int
}

// ReadCSV reads a history of checks. The format:
//
//	time,tilt_mm_per_m,tilt_u_mm_per_m,nod_mm_per_m,nod_u_mm_per_m,spindle_hours,event
//
// and, where it is known, temperature_c. Times as in RFC 3339, leans and their standard uncertainties in mm/m, the
// spindle's hour counter in hours, the machine's temperature in degrees Celsius. An axis that was not measured, an
// uncertainty, the hours, the event and the temperature may be empty; a row with a time and an event only is an event,
// and an event on a check's row happened just before it. Lines starting with # are comments. limit is the tolerance in
// mm/m (0: none). Rows dated before 2000 are left out with a warning; rows out of order and everything else that cannot
// be right end the reading with an error that names line and column.
func ReadCSV(r io.Reader, limit float64) (*History, error) {
	p := csvParser{h: &History{}, limit: limit, noted: map[string]int{}}
	in := csv.NewReader(&plainText{in: r})
	in.Comment, in.FieldsPerRecord, in.ReuseRecord = '#', -1, true
	for {
		row, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			var at *csv.ParseError
			if errors.As(err, &at) {
				return nil, fmt.Errorf(
					"line %d: a quotation mark out of place: write text with commas as \"...\", and a mark within as two", at.Line)
			}
			return nil, err
		}
		p.line, _ = in.FieldPos(0)
		if p.at == nil {
			err = p.header(row)
		} else {
			err = p.row(row)
		}
		if err != nil {
			return nil, err
		}
	}
	if p.at == nil {
		return nil, fmt.Errorf("nothing in it: write %s as the first row", CSVHeader)
	}
	p.conclude()
	return p.h, nil
}

// plainText drops a byte order mark and refuses what is not text, before anything looks for commas in it.
type plainText struct {
	in    io.Reader
	begun bool
}

func (p *plainText) Read(b []byte) (int, error) {
	n, err := p.in.Read(b)
	if bytes.IndexByte(b[:n], 0) >= 0 {
		return 0, errors.New("not plain text: save the file as UTF-8")
	}
	if !p.begun && n >= 3 {
		p.begun = true
		if cut, ok := bytes.CutPrefix(b[:n], []byte("\xef\xbb\xbf")); ok {
			n = copy(b, cut)
		}
	}
	return n, err
}

type csvParser struct {
	h     *History
	limit float64
	line  int
	at    []int // column of the file for each of ours; -1: not there
	wide  int   // columns of the header
	last  time.Time
	hours float64
	noted map[string]int // first line of each warning that is given once
	count map[string]int

	places []wholeCheck // that are free
}

func (p *csvParser) header(row []string) error {
	p.at = make([]int, columns)
	for i := range p.at {
		p.at[i] = -1
	}
	for i, name := range row {
		name = strings.ToLower(strings.TrimSpace(name))
		k := slices.Index(columnNames, name)
		if k < 0 {
			return fmt.Errorf("line %d: found %s where the header should be: write %s as the first row", p.line,
				short(strings.Join(row, ",")), CSVHeader)
		}
		if p.at[k] >= 0 {
			return fmt.Errorf("line %d: column %s twice: leave one out", p.line, name)
		}
		p.at[k] = i
	}
	for _, k := range []int{colTime, colTilt, colNod} {
		if p.at[k] < 0 {
			return fmt.Errorf("line %d: no column %s: write %s as the first row", p.line, columnNames[k], CSVHeader)
		}
	}
	p.wide = len(row)
	p.hours = math.NaN()
	p.count = map[string]int{}
	return nil
}

// short quotes what was found, cut to a length that fits a message.
func short(s string) string {
	const most = 60
	if !utf8.ValidString(s) {
		s = strings.ToValidUTF8(s, "?")
	}
	if len(s) > most {
		return fmt.Sprintf("%q...", s[:most])
	}
	return fmt.Sprintf("%q", s)
}

func (p *csvParser) bad(col int, found, want string) error {
	what := short(found)
	if found == "" {
		what = "nothing"
	}
	return fmt.Errorf("line %d, column %s: found %s: %s", p.line, columnNames[col], what, want)
}

// notDecimal is a sign of a number that a program writes and no person.
func notDecimal(r rune) bool { return r == 'x' || r == 'X' || r == 'p' || r == 'P' || r == '_' }

// number reads a figure; an empty cell is NaN.
func (p *csvParser) number(col int, s string) (float64, error) {
	if s == "" {
		return math.NaN(), nil
	}
	x, err := strconv.ParseFloat(s, 64)
	if err != nil || !finite(x) || strings.IndexFunc(s, notDecimal) >= 0 {
		want := "write a number with a decimal point, or leave it empty"
		return 0, p.bad(col, s, want)
	}
	return x, nil
}
