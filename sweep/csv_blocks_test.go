package sweep

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"testing/iotest"
)

// long writes a recorded sweep of many blocks; each of the indicators is first named in a block of its own, and
// comments and blank lines are strewn in. It gives the line of every row.
func long(indicators int) (text string, lines []int) {
	var b strings.Builder
	b.WriteString("# linnet\nt_s,angle_deg,reading_mm,indicator\n")
	line := 2
	for i := range indicators * 12_000 {
		if i%97 == 0 {
			b.WriteString("# a word in between\n \r\n")
			line += 2
		}
		fmt.Fprintf(&b, "%d.25,%d.5,-0.%06d,a%d\n", i, i%360, i, i/12_000)
		line++
		lines = append(lines, line)
	}
	return b.String(), lines
}

func TestBlocksKeepTheOrderOfTheFile(t *testing.T) {
	const indicators = 5
	text, lines := long(indicators)
	for name, r := range map[string]io.Reader{"at once": strings.NewReader(text),
		"in halves": iotest.HalfReader(strings.NewReader(text))} {
		pts, info, err := readAll(r)
		if err != nil {
			t.Fatal(err)
		}
		if len(pts) != len(lines) || info.Rows != len(lines) || fmt.Sprint(info.Indicators) != "[a0 a1 a2 a3 a4]" {
			t.Fatalf("%s: %d points of %d, info %+v", name, len(pts), len(lines), info)
		}
		for i, p := range pts {
			want := Point{float64(i) + 0.25, Radians(float64(i%360) + 0.5), -float64(i) / 1e6, i / 12_000}
			if p != want {
				t.Fatalf("%s: point %d: %v, want %v", name, i, p, want)
			}
		}
	}
}

// What is wrong is told with its line, after all rows before it and none behind it, wherever in the blocks it is.
func TestBlocksTellTheLine(t *testing.T) {
	text, lines := long(maxIndicators + 1)
	pts, _, err := readAll(strings.NewReader(text))
	first := maxIndicators * 12_000
	want := fmt.Sprintf(
		`line %d, column indicator: found "a16" as one more than 16 indicators: one arm carries no more`, lines[first])
	if err == nil || err.Error() != want || len(pts) != first {
		t.Errorf("%d points, error %v, want %s", len(pts), err, want)
	}

	text, lines = long(3)
	stop := errors.New("enough")
	for _, at := range []int{0, 1, 96, 97, 11_999, 12_000, 30_000, len(lines) - 1} {
		n := 0
		_, err := ReadCSVNamed(strings.NewReader(text), nil, func(Point) error {
			if n++; n == at+1 {
				return stop
			}
			return nil
		})
		if want := fmt.Sprintf("line %d: enough", lines[at]); !errors.Is(err, stop) || err.Error() != want ||
			n != at+1 {
			t.Errorf("row %d: %d taken, error %v, want %s", at, n, err, want)
		}

		rows := strings.SplitAfter(text, "\n")
		rows[lines[at]-1] = "1,east,0,a0\n"
		pts, _, err := readAll(strings.NewReader(strings.Join(rows, "")))
		want := fmt.Sprintf(
			`line %d, column angle_deg: found "east": write an angle in degrees such as 271.5, or nothing where it is not known`, lines[at])
		if err == nil || err.Error() != want || len(pts) != at {
			t.Errorf("row %d: %d points, error %v, want %s", at, len(pts), err, want)
		}
	}
}

// A file cut off by its transport must not pass for a whole one.
func TestReadCSVTellsACutFromAnEnd(t *testing.T) {
	text, lines := long(2)
	pts, _, err := readAll(io.MultiReader(strings.NewReader(text), iotest.ErrReader(io.ErrUnexpectedEOF)))
	want := fmt.Sprintf("after line %d: unexpected EOF", lines[len(lines)-1])
	if err == nil || err.Error() != want || len(pts) != len(lines) {
		t.Errorf("%d points of %d, error %v, want %s", len(pts), len(lines), err, want)
	}
}

func TestReadPointsNeedsNoSize(t *testing.T) {
	text, lines := long(1)
	for name, r := range map[string]io.Reader{"known": strings.NewReader(text),
		"not known": iotest.DataErrReader(strings.NewReader(text))} {
		pts, err := ReadPoints(r, oneArm())
		if err != nil || len(pts) != len(lines) {
			t.Errorf("size %s: %d points of %d, %v", name, len(pts), len(lines), err)
		}
	}
}

// A line that is far too long is one whether or not its end is in the block.
func TestALineTooLongIsToldWhereverItEnds(t *testing.T) {
	const head = "t_s,angle_deg,reading_mm\n0,0,1\n"
	for _, text := range []string{
		head + strings.Repeat("1", maxLine+1), head + strings.Repeat("1", maxLine+1) + "\n0,0,1\n",
		head + "#" + strings.Repeat("x", 5*blockBytes) + "\n",
	} {
		pts, _, err := readAll(strings.NewReader(text))
		if err == nil || err.Error() != "line 3: longer than 65536 bytes: this is not a recorded sweep" ||
			len(pts) != 1 {
			t.Errorf("%d bytes: %d points, error %v", len(text), len(pts), err)
		}
	}
}
