package sweep

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
)

// Column is one column that a table may have.
type Column struct {
	Name     string
	Required bool
	Words    []string // what may stand there, nil for numbers; an empty list for any name
	Say      string   // what an error asks for: "a position in mm such as 120.5"
}

// Table is a recorded measurement, column by column.
type Table struct {
	Rows    int
	Numbers map[string][]float64
	Words   map[string][]int // index into Names
	Names   map[string][]string
}

// Has reports whether the table has a column.
func (t *Table) Has(name string) bool {
	return t.Numbers[name] != nil || t.Words[name] != nil
}

// Number returns a value of a column, and what stands in for it where there is no such column.
func (t *Table) Number(name string, row int, otherwise float64) float64 {
	if c := t.Numbers[name]; c != nil {
		return c[row]
	}
	return otherwise
}

// ReadTable reads a recorded measurement by the names of its columns, in any order; others are passed over where loose.
// A bad row ends it with an error that names line and column. Comments, empty lines, CRLF and a byte order mark are
// allowed, as in a sweep.
func ReadTable(r io.Reader, layout []Column, loose bool) (*Table, error) {
	size := sizeOf(r)
	b := bufio.NewReaderSize(r, 4*maxLine)
	t := &Table{Numbers: map[string][]float64{}, Words: map[string][]int{}, Names: map[string][]string{}}
	var fields []*field
	for line := 1; ; line++ {
		text, err := b.ReadSlice('\n')
		if errors.Is(err, bufio.ErrBufferFull) || len(text) > maxLine {
			return nil, fmt.Errorf("line %d: longer than %d bytes: this is not a recorded measurement", line, maxLine)
		}
		end := err == io.EOF
		if err != nil && !end {
			return nil, fmt.Errorf("after line %d: %w", line-1, err)
		}
		if line == 1 {
			text = bytes.TrimPrefix(text, []byte("\xef\xbb\xbf"))
		}
		text = trimLine(bytes.TrimSuffix(text, []byte("\n")))
		switch {
		case skipped(text):
		case fields == nil:
			if fields, err = t.columns(string(text), line, layout, loose); err != nil {
				return nil, err
			}
		default:
			if t.Rows == 1 && size > 0 { // the first row tells how many there will be
				for _, f := range fields {
					f.grow(int(min(1.1*float64(size)/float64(len(text)+1), 4<<20)))
				}
			}
			if err := readRow(text, line, fields); err != nil {
				return nil, err
			}
			t.Rows++
		}
		if end {
			break
		}
	}
	switch {
	case fields == nil:
		return nil, fmt.Errorf("line 1: the file is empty: begin it with the header %s", headerOf(layout))
	case t.Rows == 0:
		return nil, fmt.Errorf("nothing to fit: there are no readings below the header")
	}
	for _, f := range fields {
		switch {
		case f.skip:
		case f.col.Words == nil:
			t.Numbers[f.col.Name] = f.numbers
		default:
			t.Words[f.col.Name], t.Names[f.col.Name] = f.words, f.names
		}
	}
	return t, nil
}

// maxNumber is larger than any time, place or reading.
const maxNumber = 1e12

// field is a column being read.
type field struct {
	col     Column
	skip    bool
	numbers []float64
	words   []int
	names   []string
}

func (f *field) grow(n int) {
	switch {
	case f.skip:
	case f.col.Words == nil:
		f.numbers = slices.Grow(f.numbers, n)
	default:
		f.words = slices.Grow(f.words, n)
	}
}

func headerOf(layout []Column) string {
	var b strings.Builder
	for i, c := range layout {
		name := c.Name
		if i > 0 {
			name = "," + name
		}
		if !c.Required {
			name = "[" + name + "]"
		}
		b.WriteString(name)
	}
	return b.String()
}

func (t *Table) columns(text string, line int, layout []Column, loose bool) ([]*field, error) {
	names, err := splitHeader(text, line)
	if err != nil {
		return nil, err
	}
	var out []*field
	for i, name := range names {
		if slices.Contains(names[:i], name) {
			return nil, fmt.Errorf("line %d: the column %s stands twice in the header: take one out", line, name)
		}
		at := slices.IndexFunc(layout, func(c Column) bool { return c.Name == name })
		if at < 0 && !loose {
			return nil, fmt.Errorf("line %d: no column %s is known here: write %s as the first row", line,
				quoteShort([]byte(name)), headerOf(layout))
		}
		if at < 0 {
			out = append(out, &field{skip: true})
			continue
		}
		out = append(out, &field{col: layout[at], names: slices.Clone(layout[at].Words)})
	}
	for _, c := range layout {
		if c.Required && !slices.Contains(names, c.Name) {
			return nil, fmt.Errorf("line %d: the column %s is missing: write %s as the first row", line, c.Name,
				headerOf(layout))
		}
	}
	return out, nil
}

func readRow(text []byte, line int, fields []*field) error {
	rest := text
	for i, f := range fields {
		last := i == len(fields)-1
		var part []byte
		if f.col.Words == nil && !f.skip { // a plain number is read without being looked at twice
			if v, n := scanDecimal(rest); n > 0 &&
				(n == len(rest) && last || n < len(rest) && rest[n] == ',' && !last) {
				if !(math.Abs(v) <= maxNumber) {
					return fmt.Errorf("line %d, column %s: %s is no usable number: write %s", line, f.col.Name,
						quoteShort(rest[:n]), f.col.Say)
				}
				f.numbers = append(f.numbers, v)
				rest = rest[min(n+1, len(rest)):]
				continue
			}
		}
		cut := bytes.IndexByte(rest, ',')
		if cut < 0 != last {
			return tableCount(text, line, fields)
		}
		if cut < 0 {
			part = rest
		} else {
			part, rest = rest[:cut], rest[cut+1:]
		}
		if f.skip {
			continue
		}
		if part = trimField(part); f.col.Words == nil {
			v, ok := parseDecimal(part)
			if !ok || !(math.Abs(v) <= maxNumber) {
				return fmt.Errorf("line %d, column %s: found %s: write %s", line, f.col.Name,
					foundOrNothing(part), f.col.Say)
			}
			f.numbers = append(f.numbers, v)
			continue
		}
		w, err := f.word(part, line)
		if err != nil {
			return err
		}
		f.words = append(f.words, w)
	}
	return nil
}

func (f *field) word(part []byte, line int) (int, error) {
	for k, name := range f.names {
		if name == string(part) {
			return k, nil
		}
	}
	if len(part) == 0 || len(f.col.Words) > 0 || len(f.names) >= maxIndicators {
		return 0, fmt.Errorf("line %d, column %s: found %s: write %s", line, f.col.Name,
			foundOrNothing(part), f.col.Say)
	}
	f.names = append(f.names, string(part))
	return len(f.names) - 1, nil
}

func foundOrNothing(part []byte) string {
	if len(part) == 0 {
		return "nothing"
	}
	return quoteShort(part)
}

func tableCount(text []byte, line int, fields []*field) error {
	cure := "write one value for each column of the header, with a decimal point and not a comma"
	if bytes.IndexByte(text, ';') >= 0 {
		cure = "part columns by commas, not semicolons"
	}
	return fmt.Errorf("line %d: found %d columns, not %d, in %s: %s", line, bytes.Count(text, []byte{','})+1,
		len(fields), quoteShort(text), cure)
}
