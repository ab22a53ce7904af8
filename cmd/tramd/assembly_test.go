package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
)

const aCross = "t_s,position_mm,reading_mm,side_deg\n0,0,1,0\n9,100,1.002,0\n18,200,1.005,0\n27,300,1.006,0\n36,400,1.009,0\n"

// assemblyFiles are one file of each kind, with the flags that fit and import need.
var assemblyFiles = []struct {
	kind, text string
	flags      []string
}{
	{"traverse", aTraverse, []string{"--straightness", "0.02", "--tolerance", "0.02/300", "--edge-mpe", "0.001"}},
	{"traverse", "t_s,position_mm,reading_mm,line_mm,indicator,edge\n" + turnedEdge,
		[]string{"--tolerance", "0.02/300"}},
	{"bar", aBar, []string{"--nose-height", "60", "--run-out", "0.05", "--tolerance", "2/1000"}},
	{"bar", "t_s,angle_deg,height_mm,reading_mm,turned_deg\n" + bothWays(aBar), []string{"--nose-height", "60"}},
	{"travel", aTravel, []string{"--of", "bar", "--tolerance", "0.02/300"}},
	{"travel", strings.Replace(aTravel, "0.98", "0.981", 1), []string{"--of", "square", "--artefact", "0.01/300",
		"--tolerance", "0.02/300"}},
	{"cross", aCross, []string{"--of", "table", "--tolerance", "0.02/300"}},
}

const turnedEdge = "0,0,1.000,0,left,as_laid\n5,100,1.002,0,left,as_laid\n10,200,1.003,0,left,as_laid\n" +
	"15,0,1.001,150,right,as_laid\n20,100,1.002,150,right,as_laid\n25,200,1.004,150,right,as_laid\n"

// bothWays repeats the rows of a bar test as those of the bar put back turned.
func bothWays(text string) string {
	rows := strings.Split(strings.TrimSpace(text), "\n")[1:]
	return strings.Join(rows, ",0\n") + ",0\n" + strings.Join(rows, ",180\n") + ",180\n"
}

// result returns the numbers of a result that was printed as JSON, without the key of what it belongs to.
func result(t *testing.T, text string) map[string]any {
	t.Helper()
	var out map[string]any
	if err := json.Unmarshal([]byte(text), &out); err != nil {
		t.Fatalf("%v: %s", err, text)
	}
	delete(out, "run")
	delete(out, "file")
	return out
}

// Each kind is stored as fit sees it, and its readings come back as a file that fit sees alike; so does a later fit.
func TestEveryKindGoesIntoTheRecordAndBack(t *testing.T) {
	t.Parallel()
	for _, way := range []string{"straight", "daemon"} {
		t.Run(way, func(t *testing.T) {
			s := newShop(
				t,
				"[[indicator]]\nname = \"dial\"\nradius_mm = 140.0\nresolution_mm = 0.001\n[angle]\nsource = \"typed\"\n")
			if way == "daemon" {
				s.daemon(t)
			}
			for i, f := range assemblyFiles {
				run := string(rune('1' + i))
				path := filepath.Join(s.dir, f.kind+run+".csv")
				if err := os.WriteFile(path, []byte(f.text), 0o600); err != nil {
					t.Fatal(err)
				}
				with := func(command string, more ...string) []string {
					return append(append([]string{command, "--config", s.config, "--json"}, f.flags...), more...)
				}
				status, fitted, errOut := call(t, with("fit", path)...)
				if status == exitFailed {
					t.Fatalf("%s: fit: %s%s", path, fitted, errOut)
				}
				want := result(t, fitted)
				again, imported, errOut := call(
					t, with("import", "--at", "2026-03-02 07:30", "--name", "part-"+run, path)...)
				if again != status || !reflect.DeepEqual(result(t, imported), want) ||
					!strings.HasPrefix(imported, `{"run":`+run+",") {
					t.Errorf("%s: import gives status %d, not %d:\n%s%s\nfit:\n%s", path, again, status, imported,
						errOut, fitted)
				}
				if status, _, errOut := call(t, with("import", path)...); status != exitFailed ||
					!strings.Contains(errOut, "in the record already") {
					t.Errorf("%s, a second time: %d %s", path, status, errOut)
				}
				back := filepath.Join(s.dir, "back.csv")
				_, exported, errOut := call(t, "export", "--config", s.config, run)
				if err := os.WriteFile(back, []byte(exported), 0o600); err != nil {
					t.Fatal(err)
				}
				if _, refitted, more := call(t, with("fit", back)...); !reflect.DeepEqual(result(t, refitted), want) {
					t.Errorf("%s: exported as\n%s%sfit makes of it\n%s%s\nnot\n%s", path, exported, errOut, refitted,
						more, fitted)
				}
				if _, refitted, errOut := call(t, "refit", "--config", s.config, "--json", "--keep",
					run); !reflect.DeepEqual(result(t, refitted), want) {
					t.Errorf("%s: refit makes of it\n%s%s\nnot\n%s", path, refitted, errOut, fitted)
				}
				if got, shown, errOut := call(t, "show", "--config", s.config, run); got != status ||
					!strings.Contains(shown, f.kind+" part-"+run) {
					t.Errorf("%s: show: %d %s%s", path, got, shown, errOut)
				}
				if _, refitted, errOut := call(t, "refit", "--config", s.config, run); strings.Count(
					refitted, "readings") < 2 {
					t.Errorf("%s: refit for a person: %s%s", path, refitted, errOut)
				}
				if _, whole, errOut := call(t, "export", "--config", s.config, "--json", run); !strings.Contains(
					whole, `"readings":[{`) ||
					!strings.Contains(whole, `"kind":"`+f.kind+`"`) {
					t.Errorf("%s: export as JSON: %s%s", path, whole, errOut)
				}
			}
			_, list, errOut := call(t, "runs", "--config", s.config)
			if strings.Count(list, "part-") != len(assemblyFiles) || !strings.Contains(list, "slope +") ||
				!strings.Contains(list, "run-out ") {
				t.Errorf("runs: %s%s", list, errOut)
			}
		})
	}
}

// What cannot be stored is refused with its cure, and leaves nothing behind.
func TestBadImportsOfOtherKinds(t *testing.T) {
	s := newShop(
		t, "[[indicator]]\nname = \"dial\"\nradius_mm = 140.0\nresolution_mm = 0.001\n[angle]\nsource = \"typed\"\n")
	for _, way := range []string{"straight", "daemon"} {
		if way == "daemon" {
			s.daemon(t)
		}
		for _, c := range []struct {
			text  string
			flags []string
			want  string
		}{
			{aTravel, nil, "--of bar, square or table"},
			{"t_s,angle_deg,position_mm,reading_mm\n0,0,0,1\n", nil, "--kind"},
			{"t_s,position_mm,reading_mm\n0,zero,1\n", nil, "line 2, column position_mm"},
			{strings.ReplaceAll(aTravel, ",180\n", ",90\n"), []string{"--of", "bar"}, "neither 0 nor 180"},
			{aTraverse, []string{"--straightness", "-1"}, "--straightness"},
			{aTraverse, []string{"--tolerance", "much"}, "tolerance"},
			{"t_s,place,reading_mm\n0,0,1\n", nil, "fits no kind"},
			{"t_s;angle_deg;reading_mm\n0;0;1,5\n", nil,
				"save the file with commas between columns and points in numbers"},
		} {
			path := written(t, "bad.csv", c.text)
			status, out, errOut := call(
				t, append(append([]string{"import", "--config", s.config}, c.flags...), path)...)
			if status == exitDone || !strings.Contains(errOut, c.want) {
				t.Errorf("%s: status %d, %s%s; want %q", way, status, out, errOut, c.want)
			}
		}
		if _, out, _ := call(t, "runs", "--config", s.config, "--json"); out != "" {
			t.Errorf("%s: something was stored: %s", way, out)
		}
	}
}

// The stack takes the newest of each relation since the last event from the record, tilt and nod each for itself.
func TestStackFromTheRecord(t *testing.T) {
	t.Parallel()
	s := newShop(
		t,
		"[clock]\ntrusted = true\n[[indicator]]\nname = \"dial\"\nradius_mm = 140.0\nresolution_mm = 0.001\n[angle]\nsource = \"typed\"\n")
	bring := func(at, text string, flags ...string) {
		t.Helper()
		args := append(append([]string{"import", "--config", s.config, "--at", at}, flags...),
			written(t, "m.csv", text))
		if status, out, errOut := call(t, args...); status == exitFailed {
			t.Fatalf("%s%s", out, errOut)
		}
	}
	// 0.02 mm of fall and rise over 100 mm with the spindle turned: 0.3 and 0.05 mm/m of the spindle against the travel.
	other := strings.NewReplacer("0.98", "0.96", "0.96", "0.92").Replace(aTravel)
	bring("2026-03-02 07:30", other, "--of", "bar")
	bring("2026-03-03 07:30", aTravel, "--of", "bar")
	bring("2026-03-01 07:30", strings.Replace(aTravel, "0.98", "0.97", 1), "--of", "bar") // older, though stored later
	bring("2026-03-03 08:30", aCross, "--of", "table")
	bring("2026-03-03 09:30", strings.ReplaceAll(aCross, ",0\n", ",90\n"), "--of", "table")
	bring("2026-03-04 07:30", strings.Replace(aTravel, "0.98", "0.9", 1), "--of", "bar", "--purpose", "adjust")
	_, want, _ := call(t, "fit", "--json", "--config", s.config, "--of", "bar", written(t, "m.csv", aTravel))
	var fit struct {
		Tilt struct {
			MMPerM float64 `json:"mm_per_m"`
		}
	}
	if err := json.Unmarshal([]byte(want), &fit); err != nil {
		t.Fatal(err)
	}
	type axis struct {
		Adjusted map[string]struct {
			MMPerM float64 `json:"mm_per_m"`
		}
	}
	var got struct{ Axes map[string]*axis }
	status, out, errOut := call(t, "stack", "--json", "--config", s.config)
	if err := json.Unmarshal([]byte(out), &got); err != nil || got.Axes["tilt"] == nil || got.Axes["nod"] == nil {
		t.Fatalf("%d %s%s %v", status, out, errOut, err)
	}
	if v := got.Axes["tilt"].Adjusted["spindle_to_travel"].MMPerM; v < fit.Tilt.MMPerM-1e-6 ||
		v > fit.Tilt.MMPerM+1e-6 {
		t.Errorf("spindle to travel %v, the newest check says %v", v, fit.Tilt.MMPerM)
	}
	for _, name := range []string{"tilt", "nod"} {
		if v := got.Axes[name].Adjusted["cross_to_table"].MMPerM; v < 0.015 || v > 0.03 {
			t.Errorf("cross to table, %s: %v", name, v)
		}
	}
	// Each has its metrics, with its uncertainty and its limit.
	bring("2026-03-03 10:30", aTraverse, "--name", "left-rail", "--tolerance", "0.03/300")
	s.daemon(t)
	bring("2026-03-03 10:40", aBar, "--name", "collet", "--run-out", "0.05")
	metrics := get(t, "http://"+s.page+"/metrics")
	for _, want := range []string{
		`tramd_relation_radians{axis="tilt",machine="linnet",relation="spindle_to_travel"} `,
		`tramd_relation_expanded_uncertainty_radians{axis="nod",machine="linnet",relation="cross_to_table"} `,
		`tramd_relation_limit_radians{axis="tilt",machine="linnet",relation="cross_to_table"} 6.66`,
		`tramd_traverse_slope_radians{machine="linnet",name="left-rail"} `,
		`tramd_traverse_slope_expanded_uncertainty_radians{machine="linnet",name="left-rail"} `,
		`tramd_traverse_slope_limit_radians{machine="linnet",name="left-rail"} 0.0001`,
		`tramd_run_out_metres{machine="linnet",name="collet"} 3.99999`, // 0.04 mm: twice the eccentricity of 0.02 mm
		`tramd_run_out_expanded_uncertainty_metres{machine="linnet",name="collet"} `,
		`tramd_run_out_limit_metres{machine="linnet",name="collet"} 5e-05`,
		`tramd_runs_total{kind="bar",machine="linnet",outcome="finished"} 1`,
	} {
		if !strings.Contains(metrics, want) {
			t.Errorf("no %s in\n%s", want, metrics)
		}
	}
	// What the event changed is no longer known.
	if status, _, errOut := call(t, "event", "--config", s.config, "adjusted", "the head"); status != exitDone {
		t.Fatal(errOut)
	}
	if status, out, errOut := call(t, "stack", "--config", s.config); status != exitFailed ||
		!strings.Contains(errOut, "no check since the last event") {
		t.Errorf("after an event: %d %s%s", status, out, errOut)
	}
}
