package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// row of a recorded sweep, as text.
type row struct{ t, deg, mm string }

// ring is a good sweep of n readings, two of them a second; change spoils it row by row.
func ring(n int, change func(i int, r *row)) string {
	var b strings.Builder
	b.WriteString("t_s,angle_deg,reading_mm\n")
	for i := range n {
		a := 2 * math.Pi * float64(i) / float64(n)
		z := 1 + 0.03*math.Cos(a) + 0.01*math.Sin(a) + 0.0007*math.Sin(float64(i*i))
		r := row{fmt.Sprint(float64(i) / 2), fmt.Sprintf("%.3f", 360*float64(i)/float64(n)), fmt.Sprintf("%.3f", z)}
		if change != nil {
			change(i, &r)
		}
		fmt.Fprintf(&b, "%s,%s,%s\n", r.t, r.deg, r.mm)
	}
	return b.String()
}

func times(f float64) func(i int, r *row) {
	return func(i int, r *row) {
		var z float64
		fmt.Sscan(r.mm, &z)
		r.mm = fmt.Sprintf("%.5f", z*f)
	}
}

// What cannot be fitted is refused with its place and cure; what can but rests on something odd says so by code.
func TestBadSweepsAreRefusedOrWarnedOf(t *testing.T) {
	for _, c := range []struct {
		name, csv string
		refused   string // part of the error; empty: fitted
		warned    string // a code; empty: none is asked for
		verdict   string // empty: any
	}{
		{"good", ring(200, nil), "", "", "outside"},
		{"nothing", "t_s,angle_deg,reading_mm\n", "no readings", "", ""},
		{"one reading", ring(1, nil), "three angles", "", ""},
		{"two readings, not opposite", "t_s,angle_deg,reading_mm\n0,0,1\n1,90,1\n", "180 degrees", "", ""},
		{"a small arc", ring(60, func(i int, r *row) { r.deg = fmt.Sprint(i) }), "arc", "", ""},
		{"one station repeated", ring(12, func(_ int, r *row) { r.deg = "90" }), "one spindle angle", "", ""},
		{"angles all the same", ring(500, func(_ int, r *row) { r.deg = "45.5" }), "one spindle angle", "", ""},
		{"no angle known", ring(200, func(_ int, r *row) { r.deg = "" }), "spindle angle", "", ""},
		{"angles in radians", ring(200, func(i int, r *row) { r.deg = fmt.Sprint(2 * math.Pi * float64(i) / 200) }),
			"arc", "", ""},
		{"all equal", ring(200, func(_ int, r *row) { r.mm = "1.000" }), "", "all_equal", "undecided"},
		{"four stations, all equal", ring(4, func(_ int, r *row) { r.mm = "1.000" }), "", "all_equal", "undecided"},
		{"times backwards", ring(200, func(i int, r *row) { r.t = fmt.Sprint(100 - i/2) }), "", "time_backwards", ""},
		{"times all the same", ring(200, func(_ int, r *row) { r.t = "7" }), "", "no_times", ""},
		{"half in inches", ring(200, func(i int, r *row) {
			if i >= 100 {
				times(1/25.4)(i, r)
			}
		}), "inches and millimetres", "", ""},
		{"every other in micrometres", ring(200, func(i int, r *row) {
			if i%2 == 0 {
				times(1000)(i, r)
			}
		}), "micrometres and millimetres", "", ""},
		{"all in micrometres", ring(200, times(1000)), "", "steep", ""},
		{"a reading NaN", ring(200, func(i int, r *row) {
			if i == 50 {
				r.mm = "NaN"
			}
		}), "line 52, column reading_mm", "", ""},
		{"a reading without end", ring(200, func(i int, r *row) {
			if i == 50 {
				r.mm = "Inf"
			}
		}), "line 52, column reading_mm", "", ""},
		{"an angle NaN", ring(200, func(i int, r *row) {
			if i == 50 {
				r.deg = "NaN"
			}
		}), "line 52, column angle_deg", "", ""},
		{"a unit in the cell", ring(200, func(_ int, r *row) { r.mm += "mm" }), "line 2, column reading_mm", "", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "sweep.csv")
			if err := os.WriteFile(path, []byte(c.csv), 0o600); err != nil {
				t.Fatal(err)
			}
			status, out, errOut := call(t, "fit", "--radius", "100", "--tolerance", "0.02/300", "--json", path)
			var got struct {
				Error     string
				Tilt, Nod *struct {
					MMPerM float64 `json:"mm_per_m"`
					U      float64 `json:"U_mm_per_m"`
				}
				Verdict  string
				Warnings []struct{ Code string }
			}
			if err := json.Unmarshal([]byte(out), &got); err != nil {
				t.Fatalf("%v: %s %s", err, out, errOut)
			}
			if c.refused != "" {
				if status != exitFailed || !strings.Contains(got.Error, c.refused) || got.Tilt != nil {
					t.Errorf("status %d, %s; want an error about %q", status, out, c.refused)
				}
				return
			}
			if got.Error != "" || got.Tilt == nil || !(got.Tilt.U > 0) || !(got.Nod.U > 0) {
				t.Fatalf("status %d, %s", status, out)
			}
			if c.verdict != "" && got.Verdict != c.verdict {
				t.Errorf("verdict %s, want %s", got.Verdict, c.verdict)
			}
			if c.warned == "" {
				return
			}
			if !slices.ContainsFunc(got.Warnings, func(w struct{ Code string }) bool { return w.Code == c.warned }) {
				t.Errorf("warnings %v, want %s", got.Warnings, c.warned)
			}
		})
	}
}
