package sweep

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"
)

func readAll(r io.Reader) ([]Point, CSVInfo, error) {
	var pts []Point
	info, err := ReadCSVNamed(r, nil, func(p Point) error { pts = append(pts, p); return nil })
	return pts, info, err
}

func TestReadCSV(t *testing.T) {
	const text = "\xef\xbb\xbf# linnet, bed, third sweep\r\n" +
		"T_s, angle_deg ,reading_mm,\"indicator\"\r\n" +
		"\r\n" +
		"0,0,0.012,arm\r\n" +
		"# paused\r\n" +
		"0.5,,-0.0005,arm\r\n" +
		" 1.25 , 90 , +1e-3 ,\"bar end\"\r\n" +
		"2,-450.5,.25,arm"
	for name, r := range map[string]io.Reader{
		"at once":           strings.NewReader(text),
		"byte by byte":      iotest.OneByteReader(strings.NewReader(text)),
		"end with the data": iotest.DataErrReader(strings.NewReader(text)),
	} {
		pts, info, err := readAll(r)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		want := []Point{{0, 0, 0.012, 0}, {0.5, math.NaN(), -0.0005, 0}, {1.25, math.Pi / 2, 0.001, 1},
			{2, Radians(-450.5), 0.25, 0}}
		if fmt.Sprint(pts) != fmt.Sprint(want) {
			t.Errorf("%s: %v, want %v", name, pts, want)
		}
		if got := fmt.Sprint(info); got != "{4 1 [arm bar end]}" {
			t.Errorf("%s: info %s", name, got)
		}
	}
}

func TestReadCSVRefuses(t *testing.T) {
	const head = "t_s,angle_deg,reading_mm\n"
	const head4 = "t_s,angle_deg,reading_mm,indicator\n"
	for _, c := range []struct{ name, text, want string }{
		{"empty", "", "line 1: the file is empty: begin it with the header t_s,angle_deg,reading_mm,indicator"},
		{"no header", "0,0,0.01\n",
			`line 1: found "0,0,0.01" where the header should be: write t_s,angle_deg,reading_mm,indicator as the first row, columns parted by commas (indicator may be left out)`},
		{"columns swapped", "angle_deg,t_s,reading_mm\n",
			`line 1: found "angle_deg,t_s,reading_mm" where the header should be: write t_s,angle_deg,reading_mm,indicator as the first row, columns parted by commas (indicator may be left out)`},
		{"utf-16", "\xff\xfet\x00_\x00s\x00\n", "line 1: not plain text: save the file as UTF-8"},
		{"bad reading", head + "0,0,0.01\n1,90,O.01\n",
			`line 3, column reading_mm: found "O.01": write a reading in mm such as -0.012, or take the row out`},
		{"reading missing", head + "0,0,\n",
			`line 2, column reading_mm: found nothing: write a reading in mm such as -0.012, or take the row out`},
		{"bad angle", head + "0,east,0\n",
			`line 2, column angle_deg: found "east": write an angle in degrees such as 271.5, or nothing where it is not known`},
		{"bad time", head + "# a\n\n12:30:01,0,0\n",
			`line 4, column t_s: found "12:30:01": write a time in seconds such as 12.345`},
		{"not a number", head + "0,0,NaN\n",
			`line 2, column reading_mm: found "NaN": write a reading in mm such as -0.012, or take the row out`},
		{"infinite", head + "0,0,1e999\n",
			`line 2, column reading_mm: found "1e999": write a reading in mm such as -0.012, or take the row out`},
		{"decimal comma", head + "0,0,0,012\n",
			`line 2: found 4 columns, not 3, in "0,0,0,012": write t_s,angle_deg,reading_mm, with a decimal point and not a comma`},
		{"semicolons", head + "0;0;0,012\n",
			`line 2: found 2 columns, not 3, in "0;0;0,012": part columns by commas, not semicolons`},
		{"torn row", head + "0,0,0.01\n0.1,3",
			`line 3: found 2 columns, not 3, in "0.1,3": write t_s,angle_deg,reading_mm`},
		{"no name", head4 + "0,0,0,\n", "line 2, column indicator: found nothing: write the name of the indicator"},
		{"long line", head + strings.Repeat("1", maxLine+2),
			"line 2: longer than 65536 bytes: this is not a recorded sweep"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, _, err := readAll(strings.NewReader(c.text))
			if err == nil || err.Error() != c.want {
				t.Errorf("error\n%v, want\n%s", err, c.want)
			}
		})
	}
}

func TestReadCSVNamed(t *testing.T) {
	const text = "t_s,angle_deg,reading_mm,indicator\n0,0,0.5,bar\n1,0,0.25,arm\n"
	var order []int
	take := func(p Point) error { order = append(order, p.Indicator); return nil }
	if _, err := ReadCSVNamed(strings.NewReader(text), []string{"arm", "bar"}, take); err != nil ||
		fmt.Sprint(order) != "[1 0]" {
		t.Errorf("order %v, error %v", order, err)
	}
	_, err := ReadCSVNamed(strings.NewReader(text), []string{"arm", "rod"}, take)
	if want := `line 2, column indicator: found "bar": the setup knows arm, rod`; err == nil || err.Error() != want {
		t.Errorf("error %v, want %s", err, want)
	}
}

func TestReadCSVPassesErrorsOn(t *testing.T) {
	stop := errors.New("enough")
	_, err := ReadCSVNamed(strings.NewReader("t_s,angle_deg,reading_mm\n0,0,0\n"), nil, func(Point) error {
		return stop
	})
	if !errors.Is(err, stop) || !strings.HasPrefix(err.Error(), "line 2: ") {
		t.Errorf("error %v", err)
	}
	_, _, err = readAll(io.MultiReader(strings.NewReader("t_s,angle_deg,reading_mm\n0,0,0\n"), iotest.ErrReader(stop)))
	if !errors.Is(err, stop) || !strings.HasPrefix(err.Error(), "after line 2: ") {
		t.Errorf("error %v", err)
	}
}

func TestFitPlainCSV(t *testing.T) {
	var b strings.Builder
	b.WriteString("t_s,angle_deg,reading_mm,indicator\n")
	for i, p := range circle(0.2e-3, -0.1e-3, 1, 120, evenly(37, 0, 360)...) {
		fmt.Fprintf(&b, "%d,%v,%v,arm\n", i, Degrees(p.Angle), p.Reading)
	}
	res, err := FitPlainCSV(strings.NewReader(b.String()), oneArm())
	if err != nil {
		t.Fatal(err)
	}
	near(t, "tilt", res.Tilt.Slope.MMPerM(), 0.2, 1e-9)
	near(t, "nod", res.Nod.Slope.MMPerM(), -0.1, 1e-9)

	two := b.String() + "40,0,1,bar\n"
	if _, err := FitPlainCSV(strings.NewReader(two), oneArm()); err == nil ||
		err.Error() != "line 39: a reading of indicator 2, but the setup describes 1: give each its radius in a config file" {
		t.Errorf("error %v", err)
	}
}

// FuzzReadCSV: whatever the file, an answer or an error that names a line, and only numbers handed on.
func FuzzReadCSV(f *testing.F) {
	for _, s := range []string{"t_s,angle_deg,reading_mm\n0,0,0.01\n1,,2\n",
		"t_s,angle_deg,reading_mm,indicator\r\n0,1e2,-.5,a\r\n", "\xef\xbb\xbf#x\n", "0;1"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		pts, info, err := readAll(strings.NewReader(string(data)))
		if len(pts) != info.Rows || len(info.Indicators) > maxIndicators {
			t.Errorf("%d points, info %+v", len(pts), info)
		}
		for _, p := range pts {
			if !finite(p.T) || !finite(p.Reading) || math.IsInf(p.Angle, 0) {
				t.Errorf("point %+v", p)
			}
		}
		if err != nil && !strings.HasPrefix(err.Error(), "line ") {
			t.Errorf("error %v", err)
		}
		again, _, _ := readAll(iotest.HalfReader(
			strings.NewReader(string(data)))) // errors are compared by what came before
		if fmt.Sprint(again) != fmt.Sprint(pts) {
			t.Error("the pieces that the file came in changed what was read")
		}
	})
}

// FuzzDecimal holds the fast path against the library.
func FuzzDecimal(f *testing.F) {
	for _, s := range []string{"0", "-0.012", "+1.5", "1e-3", ".5", "5.", "9007199254740993",
		"0.00000000000000000000001", "1.7976931348623157e308", "--1", "."} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got, ok := parseDecimal([]byte(s))
		want, err := strconv.ParseFloat(s, 64)
		plain := strings.Trim(s, "0123456789+-.eE") == "" && err == nil && !math.IsInf(want, 0)
		if ok != plain || (ok && math.Float64bits(got) != math.Float64bits(want)) {
			t.Errorf("%q: %v %v, library %v %v", s, got, ok, want, err)
		}
	})
}

// BenchmarkFitMillionRows is the whole of a fit: parse and solve. MB/op is what it allocates, however long the file.
func BenchmarkFitMillionRows(b *testing.B) {
	const rows = 1_000_000
	var text strings.Builder
	text.WriteString("t_s,angle_deg,reading_mm\n")
	for i := range rows {
		deg := float64(i) * 0.0144
		fmt.Fprintf(&text, "%.3f,%.4f,%.4f\n", float64(i)/1000, deg, 0.02*math.Cos(Radians(deg))+
			0.001*math.Sin(float64(i*i)))
	}
	data := text.String()
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		res, err := FitPlainCSV(strings.NewReader(data), oneArm())
		if err != nil {
			b.Fatal(err)
		}
		if res.Readings != rows {
			b.Fatalf("%d readings", res.Readings)
		}
	}
}
