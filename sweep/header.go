package sweep

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"
)

// Kinds of recorded measurements.
const (
	KindSweep    = "sweep"
	KindTraverse = "traverse"
	KindBar      = "bar"
	KindTravel   = "travel"
	KindCross    = "cross"
)

// Header reads a recorded measurement as far as its header and returns the names of the columns, with a reader that
// begins at the start again.
func Header(r io.Reader) (columns []string, again io.Reader, err error) {
	var read bytes.Buffer
	b := bufio.NewReaderSize(r, maxLine)
	for line := 1; ; line++ {
		text, err := b.ReadSlice('\n')
		read.Write(text)
		again = io.MultiReader(&read, b)
		if err == bufio.ErrBufferFull {
			return nil, again, fmt.Errorf("line %d: longer than %d bytes: this is not a recorded measurement",
				line, maxLine)
		}
		if err != nil && err != io.EOF {
			return nil, again, fmt.Errorf("line %d: %w", line, err)
		}
		if line == 1 {
			text = bytes.TrimPrefix(text, []byte("\xef\xbb\xbf"))
		}
		if text = trimLine(bytes.TrimSuffix(text, []byte("\n"))); !skipped(text) {
			columns, err := splitHeader(string(text), line)
			return columns, again, err
		}
		if err == io.EOF {
			return nil, again, fmt.Errorf("line 1: the file is empty: begin it with a header such as %s", CSVHeader)
		}
	}
}

func splitHeader(text string, line int) ([]string, error) {
	if strings.IndexByte(text, 0) >= 0 || !utf8.ValidString(text) {
		return nil, fmt.Errorf("line %d: not plain text: save the file as UTF-8", line)
	}
	columns := strings.Split(text, ",")
	for i := range columns {
		columns[i] = strings.ToLower(strings.Trim(strings.TrimSpace(columns[i]), `"`))
	}
	return columns, nil
}

// KindOf tells what was measured by the columns. Where they fit two kinds it says so and what tells them apart.
func KindOf(columns []string) (string, error) {
	has := func(name string) bool { return slices.Contains(columns, name) }
	angle, position := has("angle_deg"), has("position_mm")
	sideways := has("side_deg") || has("turned_deg")
	across := has("line_mm") || has("edge")
	switch {
	case angle && position:
		return "",
			fmt.Errorf(
				"the header has both angle_deg and position_mm, so it fits two kinds: say which with --kind sweep, bar, traverse, travel or cross")
	case position && sideways && across:
		return "",
			fmt.Errorf(
				"the header has columns of a traverse (line_mm, edge) and of a travel (side_deg, turned_deg), so it fits two kinds: " +
					"say which with --kind traverse, travel or cross")
	case angle && has("height_mm"):
		return KindBar, nil
	case angle:
		return KindSweep, nil
	case position && sideways:
		return KindTravel, nil
	case position:
		return KindTraverse, nil
	}
	if header := strings.Join(columns, ","); strings.ContainsAny(header, ";\t") {
		return "",
			fmt.Errorf(
				"the header %s has semicolons or tabs between its columns: save the file with commas between columns and points in numbers",
				quoteShort([]byte(header)))
	}
	return "",
		fmt.Errorf(
			"the header %s fits no kind of measurement: it needs angle_deg (a sweep; a bar with height_mm) or position_mm (a traverse; "+
				"a travel with side_deg and turned_deg)", quoteShort([]byte(strings.Join(columns, ","))))
}
