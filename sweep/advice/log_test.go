package advice

import (
	"encoding/json"
	"strings"
	"testing"
)

// Each mistake with the whole message: where it is, and what to write.
func TestEachMistakeNamesItsPlaceAndItsCure(t *testing.T) {
	h := `"history":[{"tilt_mm_per_m":0.9,"nod_mm_per_m":-0.6,"u_mm_per_m":0.01}]`
	for _, tc := range []struct{ name, text, want string }{
		{"nothing", " ", `the log is empty; write {"tolerance":"0.03/300","adjusters":[...],"history":[...]}`},
		{"cut off", "{\"tolerance\":\n", "line 2: the log ends in the middle; is it whole?"},
		{"no JSON", "{\n tolerance: 1}", "line 2: not JSON: invalid character 't'"},
		{"two", "{}\n{}", "line 2: something follows the end of the log; write one JSON object"},
		{"a list", "[]", "line 1: log: is a list; write an object {...}"},
		{"unknown field", "{\n\"tolerence\":\"0.03/300\"}",
			"line 2: tolerence: unknown field; the fields here are tolerance, adjusters, history, note"},
		{"twice", "{\"note\":\"\",\n\"note\":\"\"}", `line 2: "note" stands twice in one object; keep one`},
		{"no tolerance", `{` + h + `}`,
			`tolerance: no tolerance, so no way to say when to stop: write one, for example "0.03/300"`},
		{"bad tolerance", `{"tolerance":"0.03",` + h + `}`, `line 1: tolerance: tolerance "0.03"`},
		{"no history", `{"tolerance":"0.03/300"}`, "history: nothing is measured yet: sweep once, then ask again"},
		{"text for a number", `{"tolerance":"0.03/300","history":[` + "\n" +
			`{"tilt_mm_per_m":"0.9","nod_mm_per_m":1,"u_mm_per_m":1}]}`,
			"line 2: history[0].tilt_mm_per_m: is text; write a number"},
		{"no lean", `{"tolerance":"0.03/300","history":[{"nod_mm_per_m":1,"u_mm_per_m":1}]}`,
			"line 1: history[0].tilt_mm_per_m: missing; write the measured lean in mm/m, or null for an axis that was not measured"},
		{"no uncertainty", `{"tolerance":"0.03/300","history":[{"tilt_mm_per_m":1,"nod_mm_per_m":1}]}`,
			"line 1: history[0].u_mm_per_m: missing; write the standard uncertainty of the lean in mm/m (`tramd fit --json` gives it)"},
		{"negative uncertainty",
			"{\"tolerance\":\"0.03/300\",\"history\":[\n{\"tilt_mm_per_m\":1,\"nod_mm_per_m\":1,\n\"u_mm_per_m\":-1}]}",
			"line 3: history[0].u_mm_per_m: -1 is no standard uncertainty; write a number of mm/m that is not negative"},
		{"beyond numbers",
			`{"tolerance":"0.03/300","history":[{"tilt_mm_per_m":1e999,"nod_mm_per_m":1,"u_mm_per_m":1}]}`,
			"line 1: history[0].tilt_mm_per_m: 1e999 is out of range of any number; write a smaller one"},
		{"beyond leans", `{"tolerance":"0.03/300","history":[{"tilt_mm_per_m":1e9,"nod_mm_per_m":1,"u_mm_per_m":1}]}`,
			"line 1: history[0].tilt_mm_per_m: 1e+09 is no lean a sweep can find; write mm/m"},
		{"unknown adjuster", `{"tolerance":"0.03/300",` + two + `,"history":[` + "\n" +
			`{"tilt_mm_per_m":1,"nod_mm_per_m":1,"u_mm_per_m":0.1,"moved":{"swnig":1}}]}`,
			`line 3: history[0].moved: "swnig" is not among the adjusters (swing, lower shim); correct the name, or describe it there`},
		{"nameless", `{"tolerance":"0.03/300","adjusters":[{"tilt_mm_per_m":1}],` + h + `}`,
			`line 1: adjusters[0].name: missing; give it a name, for example "swing"`},
		{"named twice", `{"tolerance":"0.03/300","adjusters":[{"name":"a"},{"name":"a"}],` + h + `}`,
			`line 1: adjusters[1].name: "a" is taken by another adjuster; give each its own name`},
		{"negative step", `{"tolerance":"0.03/300","adjusters":[{"name":"a","step":-1}],` + h + `}`,
			"line 1: adjusters[0].step: -1 is no smallest amount; write 0 for any, or a positive number"},
		{"no thickness", `{"tolerance":"0.03/300","adjusters":[{"name":"a","stock_mm":[0.1,0]}],` + h + `}`,
			"line 1: adjusters[0].stock_mm[1]: 0 is no thickness; write a positive number of mm"},
		{"too deep", strings.Repeat("[", 20), "line 1: lists within lists too deep for a log of moves"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			_, err := ReadLog(strings.NewReader(tc.text))
			if err == nil || !strings.HasPrefix(err.Error(), tc.want) {
				t.Errorf("got  %v\nwant %s", err, tc.want)
			}
		})
	}
}

func TestALogThatGoesOnForEverIsRefused(t *testing.T) {
	_, err := ReadLog(strings.NewReader("[" + strings.Repeat(" ", maxLog+10)))
	if err == nil || !strings.Contains(err.Error(), "keep the last few hundred") {
		t.Error(err)
	}
}

// What is read is answered, and the answer can be written.
func FuzzReadLog(f *testing.F) {
	f.Add([]byte(`{"tolerance":"0.03/300",` + two +
		`,"history":[{"tilt_mm_per_m":0.9,"nod_mm_per_m":-0.6,"u_mm_per_m":0.01,"moved":{"swing":-0.2}},{"tilt_mm_per_m":0.2,"nod_mm_per_m":-0.7,"u_mm_per_m":0.01}]}`))
	f.Add(
		[]byte(
			`{"tolerance":"1 mrad","adjusters":[{"name":"s","nod_mm_per_m":7,"stock_mm":[0.05,0.1]}],"history":[{"tilt_mm_per_m":null,"nod_mm_per_m":1e2,"u_mm_per_m":0}]}`))
	f.Add([]byte(`{"tolerance":`))
	f.Fuzz(func(t *testing.T, text []byte) {
		p, err := ReadLog(strings.NewReader(string(text)))
		if err != nil {
			return
		}
		if len(p.History) > 20 || len(p.Adjusters) > 4 {
			return // time, not sense
		}
		a, err := Advise(p)
		if err != nil {
			t.Fatalf("read, but not answered: %v", err)
		}
		if _, err := json.Marshal(a); err != nil {
			t.Fatalf("%+v: %v", a, err)
		}
	})
}
