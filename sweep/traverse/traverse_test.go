package traverse

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"tramd/sweep"
	"tramd/sweep/line"
	"tramd/sweep/units"
)

func options() Options {
	return Options{Setup: line.Setup{Indicators: []sweep.Indicator{{ResolutionMM: 0.001}}}}
}

func fit(t *testing.T, text string, opt Options) *Result {
	t.Helper()
	r, err := fitCSV(text, opt)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: got %v, want %v within %v", what, got, want, within)
	}
}

// The file's cases, whose source stands in it, in micrometres and 50 mm apart: typed readings are taken as they are.
func TestPublishedStraightness(t *testing.T) {
	text, err := os.ReadFile("../../testdata/published/straightness.json")
	if err != nil {
		t.Fatal(err)
	}
	var in struct {
		Cases []struct {
			Z        []float64
			LsSlope  float64 `json:"ls_slope"`
			LS, MZ   float64
			Endpoint float64
		}
	}
	if err := json.Unmarshal(text, &in); err != nil || len(in.Cases) < 3 {
		t.Fatal(err, len(in.Cases))
	}
	for _, c := range in.Cases {
		var b strings.Builder
		b.WriteString("t_s,position_mm,reading_mm\n")
		for i, z := range c.Z {
			fmt.Fprintf(&b, "%d,%d,%.3f\n", 10*i, 50*i, z/1000)
		}
		r := fit(t, b.String(), options())
		near(t, "least squares", r.Straightness.LeastSquares, c.LS/1000, 1e-9)
		near(t, "minimum zone", r.Straightness.MinimumZone, c.MZ/1000, 1e-9)
		near(t, "end points", r.Straightness.EndPoints, c.Endpoint/1000, 1e-9)
		near(t, "slope", r.Slope.Slope.MMPerM(), c.LsSlope/50, r.Slope.Expanded.MMPerM())
	}
}

// grid writes readings of a plane with a twist, row by row.
func grid(z func(x, y float64) float64) string {
	var b strings.Builder
	b.WriteString("t_s,position_mm,reading_mm,line_mm\n")
	t := 0
	for y := 0.0; y <= 400; y += 200 {
		for k := 0; k <= 12; k++ {
			x := 100 * float64(k)
			if k > 6 {
				x = 100 * float64(12-k)
			}
			t += 8
			fmt.Fprintf(&b, "%d,%.0f,%.4f,%.0f\n", t, x, z(x, y), y)
		}
	}
	return b.String()
}

func TestAPlaneWithATwist(t *testing.T) {
	r := fit(t, grid(func(x, y float64) float64 { return 0.05e-3*x + 0.1e-3*y + 0.02*x/600*y/400 }), options())
	near(t, "twist", r.Twist.Slope.MMPerM(), 1000*0.02/600, 0.002)
	near(t, "slope", r.Slope.Slope.MMPerM(), 0.05+0.5*0.02/600*1000, 0.002)
	near(t, "cross slope", r.CrossSlope.Slope.MMPerM(), 0.1+0.5*0.02/400*1000, 0.002)
	// A twisted rectangle departs from its plane by a quarter of the twist's height at each corner.
	near(t, "flatness", r.Flatness.MinimumZone, 0.01, 1e-4)
	if len(r.Lines) != 3 || r.Lines[2].AtMM != 400 {
		t.Errorf("%+v", r.Lines)
	}
}

// Evans, Hocken and Estler 1996 (from memory): half the sum is the way, half the difference the edge.
func TestATurnedEdgeShowsItself(t *testing.T) {
	var b strings.Builder
	b.WriteString("t_s,position_mm,reading_mm,edge\n")
	way := func(x float64) float64 { return 0.004 * math.Pow(x/300-1, 2) }
	edge := func(x float64) float64 { return 0.01 * math.Cos(math.Pi*(x/300-1)) }
	n := 0
	for _, e := range []struct {
		name string
		sign float64
	}{{"as_laid", 1}, {"turned", -1}} {
		for x := 0.0; x <= 600; x += 50 {
			n++
			fmt.Fprintf(&b, "%d,%.0f,%.4f,%s\n", 6*n, x, 0.05e-3*x+way(x)+e.sign*edge(x), e.name)
		}
	}
	r := fit(t, b.String(), options())
	near(t, "straightness of the way", r.Straightness.MinimumZone, 0.004, 2e-4)
	mean := 0.0
	for _, e := range r.EdgeForm {
		mean += edge(e.PositionMM) / float64(len(r.EdgeForm))
	}
	for _, e := range r.EdgeForm {
		near(t, fmt.Sprintf("edge at %v mm", e.PositionMM), e.MM, edge(e.PositionMM)-mean, 2e-4)
	}
	if len(r.EdgeForm) != 13 {
		t.Errorf("%d places of the edge", len(r.EdgeForm))
	}
}

func TestThreeThicknesses(t *testing.T) {
	opt := options()
	opt.Same, opt.StraightnessMM = true, 0.05
	r := fit(t, "t_s,position_mm,reading_mm\n0,0,12.003\n10,100,12.011\n20,200,12.007\n", opt)
	near(t, "range", r.Same.RangeMM, 0.008, 1e-9)
	if r.Verdict != sweep.Within || r.Same.LargestAt != 100 || r.Same.SmallestAt != 0 {
		t.Errorf("%+v %s", r.Same, r.Verdict)
	}
}

func has(r *Result, code string) bool {
	for _, w := range r.Warnings {
		if w.Code == code {
			return true
		}
	}
	return false
}

func TestWarnings(t *testing.T) {
	r := fit(t, "t_s,position_mm,reading_mm\n0,0,1\n10,100,1.01\n", options())
	if !has(r, line.WarnTwo) || !has(r, line.WarnOneWay) {
		t.Errorf("two positions: %+v", r.Warnings)
	}
	r = fit(t, "t_s,position_mm,reading_mm\n0,0,1\n10,100,1.01\n20,100,1.02\n30,200,1.02\n40,300,1.03\n", options())
	if !has(r, line.WarnTwice) {
		t.Errorf("one position twice: %+v", r.Warnings)
	}
	r = fit(t, "t_s,position_mm,reading_mm,line_mm\n0,0,1,0\n10,100,1.01,0\n20,200,1.02,0\n30,50,1,300\n", options())
	if !has(r, line.WarnPoint) || r.Lines[1].Slope != nil || r.Twist != nil {
		t.Errorf("a line that is a point: %+v %+v", r.Warnings, r.Twist)
	}
}

func TestBadTraverses(t *testing.T) {
	head := "t_s,position_mm,reading_mm\n"
	for text, want := range map[string]string{
		"":                        "empty",
		head:                      "no readings",
		head + "0,5,1\n1,5,1\n":   "one position",
		head + "0,5,1\n1,6,1e9\n": "not one an indicator can show",
		head + "0,5\n":            "found 2 columns, not 3",
		head + "0;5;1\n":          "commas, not semicolons",
		head + "0,,1\n":           "column position_mm: found nothing",
		head + "0,1,NaN\n":        "column reading_mm",
		"t_s,position_mm,reading_mm,edge\n0,1,2,upside\n": "as_laid or turned",
		"t_s,position_mm,position_mm\n":                   "stands twice",
		"t_s,position_mm,reading_mm,colour\n0,1,2,red\n":  "no column",
		"t_s,position_mm\n0,1\n":                          "reading_mm is missing",
	} {
		if _, err := fitCSV(text, options()); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}

func TestVerdicts(t *testing.T) {
	tol, err := units.ParseTolerance("0.02/300")
	if err != nil {
		t.Fatal(err)
	}
	for rise, want := range map[float64]sweep.Verdict{0: sweep.Within, 0.2e-3: sweep.Outside,
		0.0667e-3: sweep.Undecided} {
		opt := options()
		opt.Tolerance = tol
		var b strings.Builder
		b.WriteString("t_s,position_mm,reading_mm\n")
		for i := range 11 {
			fmt.Fprintf(&b, "%d,%d,%.4f\n", 10*i, 60*i, rise*60*float64(i))
		}
		if r := fit(t, b.String(), opt); r.Slope.Verdict != want || r.Verdict != want {
			t.Errorf("rise %v: %s", rise, r.Verdict)
		}
	}
}

func FuzzTraverse(f *testing.F) {
	f.Add(
		"t_s,position_mm,reading_mm,line_mm,indicator,edge\n0,0,1,0,a,as_laid\n1,10,1.01,0,a,turned\n2,20,1,5,b,as_laid\n")
	f.Add("t_s,position_mm,reading_mm\n0,-1e6,1\n0,1e6,1\n0,1e-9,-9000\n")
	f.Fuzz(func(t *testing.T, text string) {
		r, err := fitCSV(text, options())
		if err != nil {
			return
		}
		if _, err := json.Marshal(r); err != nil {
			t.Errorf("%q: %v", text, err)
		}
	})
}

// Through two places goes a line: it shows a slope, and nothing of the form that a limit could be held against.
func TestTwoPlacesShowNoForm(t *testing.T) {
	opt := options()
	opt.StraightnessMM = 0.01
	r := fit(t, "t_s,position_mm,reading_mm\n0,0,1\n10,100,1.01\n", opt)
	if r.Straightness != nil || r.Verdict != sweep.Undecided || !has(r, line.WarnTwo) {
		t.Errorf("%+v %s %+v", r.Straightness, r.Verdict, r.Warnings)
	}
	r = fit(t, "t_s,position_mm,reading_mm,line_mm\n0,0,1,0\n10,100,1.01,0\n20,200,1.02,0\n30,50,1,300\n", opt)
	if r.CrossSlope != nil || r.Lines[1].Straightness != nil || r.Verdict != sweep.Undecided {
		t.Errorf("a line that is a point: %+v %+v %s", r.CrossSlope, r.Lines[1], r.Verdict)
	}
}

// fitCSV fits a recorded traverse.
func fitCSV(text string, opt Options) (*Result, error) {
	t, err := sweep.ReadTable(strings.NewReader(text), line.TraverseColumns, false)
	if err != nil {
		return nil, err
	}
	in, err := line.Split(t)
	if err != nil {
		return nil, err
	}
	return Fit(in, opt)
}
