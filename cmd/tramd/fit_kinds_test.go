package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// written puts a text into a file of its own.
func written(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

const (
	aTraverse = "t_s,position_mm,reading_mm\n0,0,0.000\n10,100,0.002\n20,200,0.003\n30,300,0.005\n40,400,0.004\n"
	aTravel   = "t_s,position_mm,reading_mm,side_deg,turned_deg\n0,0,1,0,0\n9,100,0.98,0,0\n18,200,0.96,0,0\n27,0,1,0,180\n36,100,1.01,0,180\n45,200,1.02,0,180\n"
	aBar      = "t_s,angle_deg,height_mm,reading_mm\n0,0,10,1.01\n2,90,10,1\n4,180,10,0.99\n6,270,10,1\n8,0,40,1.02\n10,90,40,1\n12,180,40,0.98\n14,270,40,1\n"
)

// Each kind is recognised by its header and written with the names that other programs read.
func TestFitRecognisesEachKind(t *testing.T) {
	for _, c := range []struct {
		text string
		args []string
		kind string
		want []string
	}{
		{aTraverse, nil, "traverse", []string{"slope", "straightness", "bend_mm", "length_mm", "lines", "twist",
			"cross_slope", "flatness", "edge_form"}},
		{aBar, []string{"--nose-height", "60"}, "bar", []string{"heights", "bar_angle", "at_nose"}},
		{aTravel, []string{"--of", "bar"}, "travel", []string{"of", "relation", "tilt", "nod", "artefact",
			"straightness_mm"}},
		{aTravel, []string{"--of", "square"}, "travel", []string{"relation"}},
		{strings.ReplaceAll(aTraverse, "\n", ",0\n")[:26] + ",side_deg\n" + strings.ReplaceAll(aTraverse[27:], "\n",
			",0\n"), []string{"--of", "table"}, "cross",
			[]string{"relation", "tilt", "nod"}},
	} {
		path := written(t, "measured.csv", c.text)
		status, out, errOut := call(t, append(append([]string{"fit", "--json"}, c.args...), path)...)
		var got map[string]json.RawMessage
		if status != 0 && status != exitUndecided || json.Unmarshal([]byte(out), &got) != nil {
			t.Errorf("%s: status %d: %s%s", c.kind, status, out, errOut)
			continue
		}
		if string(got["kind"]) != `"`+c.kind+`"` {
			t.Errorf("%s: kind %s", c.kind, got["kind"])
		}
		for _, name := range append(c.want, "file", "readings", "rejected", "warnings", "verdict") {
			if _, ok := got[name]; !ok {
				t.Errorf("%s: no %s in %s", c.kind, name, out)
			}
		}
		if status, out, _ := call(t, append(append([]string{"fit"}, c.args...), path)...); status != 0 &&
			status != exitUndecided || !strings.Contains(out, "readings") {
			t.Errorf("%s for a person: %d %s", c.kind, status, out)
		}
	}
}

func TestAHeaderThatFitsTwoKinds(t *testing.T) {
	path := written(t, "two.csv", "t_s,angle_deg,position_mm,reading_mm\n0,0,0,1\n1,10,100,1\n2,20,200,1.1\n")
	status, out, _ := call(t, "fit", "--json", path)
	if status != exitFailed || !strings.Contains(out, "--kind") || !strings.Contains(out, `"error"`) {
		t.Errorf("%d %s", status, out)
	}
	status, out, _ = call(t, "fit", "--json", "--kind", "traverse", path)
	if status != exitDone || !strings.Contains(out, `"kind":"traverse"`) {
		t.Errorf("%d %s", status, out)
	}
	if status, out, _ = call(t, "fit", "--json", written(t, "travel.csv", aTravel)); status != exitFailed ||
		!strings.Contains(out, "--of bar, square or table") {
		t.Errorf("%d %s", status, out)
	}
}

func TestStackFromAFile(t *testing.T) {
	path := written(t, "stack.json", `{"tolerance":"0.02/300","relations":[
		{"relation":"spindle_to_table","tilt_mm_per_m":0.2,"tilt_u_mm_per_m":0.01,"nod_mm_per_m":0,"nod_u_mm_per_m":0.01},
		{"relation":"cross_to_table","tilt_mm_per_m":0.19,"tilt_u_mm_per_m":0.01,"nod_mm_per_m":0,"nod_u_mm_per_m":0.01}]}`)
	status, out, errOut := call(t, "stack", "--json", path)
	var got struct {
		Axes map[string]struct {
			Closure  *struct{}
			Adjusted map[string]struct {
				MMPerM float64 `json:"mm_per_m"`
			}
			Largest string
		}
		Verdict string
		Say     []string
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatal(status, out, errOut, err)
	}
	if v := got.Axes["tilt"].Adjusted["spindle_to_cross"].MMPerM; v < 0.0099 || v > 0.0101 {
		t.Errorf("spindle to cross %v", v)
	}
	if status != exitDone || got.Verdict != "within" ||
		!strings.Contains(strings.Join(got.Say, " "), "surface it by the machine itself") {
		t.Errorf("%d %+v", status, got)
	}
	if status, out, _ := call(t, "stack", path); status != exitDone || !strings.Contains(out, "support the head") {
		t.Errorf("the caution is missing: %d %s", status, out)
	}
	if status, _, errOut := call(t, "stack",
		written(t, "bad.json", `{"relations":[{"relation":"up","tilt_mm_per_m":1,"tilt_u_mm_per_m":1}]}`)); status !=
		exitFailed ||
		!strings.Contains(errOut, "is no relation") {
		t.Errorf("%d %s", status, errOut)
	}
}
