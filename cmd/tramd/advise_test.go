package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const moveLog = `{"tolerance":"0.03/300",
 "adjusters":[{"name":"swing","unit":"mm","tilt_mm_per_m":4.2,"nod_mm_per_m":0,"step":0},
              {"name":"lower shim","unit":"mm","tilt_mm_per_m":0,"nod_mm_per_m":7.1,"step":0.05,
               "plus":"pack {} behind the lower bolts","minus":"take {} out from behind the lower bolts","loosens_head":true}],
 "history":[{"tilt_mm_per_m":0.9,"nod_mm_per_m":-0.6,"u_mm_per_m":0.01,"moved":{"swing":-0.2}},
            {"tilt_mm_per_m":0.2,"nod_mm_per_m":-0.7,"u_mm_per_m":0.01}]}`

func TestAdviseSaysTheNextMove(t *testing.T) {
	path := filepath.Join(t.TempDir(), "log.json")
	if err := os.WriteFile(path, []byte(moveLog), 0o600); err != nil {
		t.Fatal(err)
	}
	status, out, errOut := call(t, "advise", "--json", path)
	if status != exitDone {
		t.Fatalf("status %d: %s", status, errOut)
	}
	// The names other programs rely on, none missing and none null.
	var answer map[string]json.RawMessage
	if err := json.Unmarshal([]byte(out), &answer); err != nil {
		t.Fatal(err)
	}
	for _, key := range []string{"done", "moves", "expected", "learned", "cautions", "warnings", "why", "verdict"} {
		if v := string(answer[key]); v == "" || v == "null" {
			t.Errorf("%s is %q", key, v)
		}
	}
	var moves []struct {
		Adjuster, Unit string
		By             *float64
	}
	if err := json.Unmarshal(answer["moves"], &moves); err != nil || len(moves) != 2 {
		t.Fatalf("%s: %v", answer["moves"], err)
	}
	for _, m := range moves {
		if m.By == nil || m.Unit != "mm" || (m.Adjuster == "swing") != (*m.By < 0) {
			t.Errorf("%s by %v %s", m.Adjuster, m.By, m.Unit)
		}
	}
	// For a person: the owner's words, and the cautions before the moves.
	status, out, _ = call(t, "advise", path)
	pack, support := strings.Index(out, "Pack 0.1 mm behind the lower bolts."), strings.Index(out, "Support the head")
	if status != exitDone || pack < 0 || support < 0 || support > pack {
		t.Errorf("status %d:\n%s", status, out)
	}
}

func TestAdviseRefusesALogThatCannotBeMeant(t *testing.T) {
	path := filepath.Join(t.TempDir(), "log.json")
	if err := os.WriteFile(path, []byte(strings.Replace(moveLog, `"swing":-0.2`, `"swnig":-0.2`, 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	status, out, errOut := call(t, "advise", "--json", path)
	if status != exitFailed || out != "" || !strings.Contains(errOut, path+": line 5: history[0].moved") {
		t.Errorf("status %d, %q, %q", status, out, errOut)
	}
	if status, _, _ := call(t, "advise", filepath.Join(t.TempDir(), "none.json")); status != exitFailed {
		t.Errorf("status %d for no file", status)
	}
}
