package advice

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"tramd/sweep"
	"tramd/sweep/units"
)

const two = `"adjusters":[{"name":"swing","unit":"mm","tilt_mm_per_m":4.2,"nod_mm_per_m":0,"step":0},
 {"name":"lower shim","unit":"mm","tilt_mm_per_m":0,"nod_mm_per_m":7.1,"step":0.01}]`

func ask(t *testing.T, text string) Answer {
	t.Helper()
	p, err := ReadLog(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	a, err := Advise(p)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func (a Answer) by(name string) float64 {
	for _, m := range a.Moves {
		if m.Adjuster == name {
			return m.By
		}
	}
	return 0
}

func (a Answer) has(code string) bool {
	for _, w := range a.Warnings {
		if w.Code == code {
			return true
		}
	}
	return false
}

func TestAFirstMoveGoesAgainstTheLeanOnBothAxes(t *testing.T) {
	a := ask(t, `{"tolerance":"0.03/300",`+two+
		`,"history":[{"tilt_mm_per_m":0.9,"nod_mm_per_m":-0.6,"u_mm_per_m":0.01}]}`)
	// By nominal effects 0.9/4.2 and 0.6/7.1 undo it.
	if s, l := a.by("swing"), a.by("lower shim"); a.Done || math.Abs(s+0.214) > 0.06 || math.Abs(l-0.085) > 0.03 {
		t.Errorf("%+v", a)
	}
	if a.Verdict != sweep.Outside || len(a.Cautions) == 0 || len(a.Warnings) != 0 {
		t.Errorf("%+v", a)
	}
}

func TestItStopsWhereTheVerdictIsWithin(t *testing.T) {
	for _, tc := range []struct {
		name string
		x, u float64
		want sweep.Verdict
		done bool
	}{
		{"well inside", 0.05, 0.01, sweep.Within, true},
		{"just inside with its interval", 0.0803, 0.01, sweep.Within, true}, // 0.0803 + 1.96*0.01 < 0.1
		{"just over with its interval, but likelier in than after a move", 0.0807, 0.01, sweep.Undecided, true},
		{"far out", 0.9, 0.01, sweep.Outside, false},
	} {
		var h strings.Builder
		e := json.NewEncoder(&h)
		if err := e.Encode(map[string]float64{"tilt_mm_per_m": tc.x, "nod_mm_per_m": 0.01,
			"u_mm_per_m": tc.u}); err != nil {
			t.Fatal(err)
		}
		a := ask(t, `{"tolerance":"0.1 mm/m",`+two+`,"history":[`+h.String()+`]}`)
		if a.Verdict != tc.want || a.Done != tc.done || (len(a.Moves) == 0) != tc.done {
			t.Errorf("%s: %+v", tc.name, a)
		}
	}
}

// A machine that answered with half the nominal swing and a third of it on the other axis, three times: known by then.
func TestItLearnsHowTheMachineAnswers(t *testing.T) {
	h := []Entry{}
	x, y := 2.0, 1.0
	for _, m := range [][2]float64{{-0.3, 0}, {0, -0.1}, {-0.2, 0.05}, {}} {
		h = append(h, Entry{Tilt: x, Nod: y, TiltU: 0.005, NodU: 0.005,
			Moved: map[string]float64{"a": m[0], "b": m[1]}})
		x += 2.1*m[0] - 1*m[1]
		y += 1.4*m[0] + 7*m[1]
	}
	tol, _ := units.ParseTolerance("0.1 mm/m")
	a, err := Advise(Problem{Tolerance: tol, Adjusters: []Adjuster{{Name: "a", Tilt: 4.2}, {Name: "b", Nod: 7}},
		History: h})
	if err != nil {
		t.Fatal(err)
	}
	want := [][2]float64{{2.1, 1.4}, {-1, 7}}
	for i, l := range a.Learned {
		if math.Abs(l.Tilt-want[i][0]) > 2*l.U+0.02 || math.Abs(l.Nod-want[i][1]) > 2*l.U+0.02 || l.U > 0.8 {
			t.Errorf("%+v, want %v", l, want[i])
		}
	}
	if a.Expected.Chance < 0.4 {
		t.Errorf("after three answers a chance of %v only", a.Expected.Chance)
	}
}

func TestWhatCannotWorkIsSaidPlainly(t *testing.T) {
	lean := `"history":[{"tilt_mm_per_m":0.9,"nod_mm_per_m":-0.6,"u_mm_per_m":0.01}]}`
	for _, tc := range []struct {
		name, text, code string
		moves, done      bool
	}{
		{"no adjusters", `{"tolerance":"0.1 mm/m","adjusters":[],` + lean, "no_adjusters", false, false},
		{"both on one axis",
			`{"tolerance":"0.1 mm/m","adjusters":[{"name":"a","tilt_mm_per_m":4},{"name":"b","tilt_mm_per_m":5}],` +
				lean, "cannot_reach", true, false},
		{"only one", `{"tolerance":"0.1 mm/m","adjusters":[{"name":"a","nod_mm_per_m":4}],` + lean, "cannot_reach",
			true, false},
		{"all along one line",
			`{"tolerance":"0.1 mm/m","adjusters":[{"name":"a","tilt_mm_per_m":4,"nod_mm_per_m":4},{"name":"b","tilt_mm_per_m":-2,"nod_mm_per_m":-2}],"history":[{"tilt_mm_per_m":0.9,"nod_mm_per_m":0.4,"u_mm_per_m":0.01}]}`, "cannot_reach", true, false},
		{"no effect", `{"tolerance":"0.1 mm/m","adjusters":[{"name":"a"}],` + lean, "no_effect", false, true},
		{"steps far too coarse",
			`{"tolerance":"0.1 mm/m","adjusters":[{"name":"a","tilt_mm_per_m":4,"step":5},{"name":"b","nod_mm_per_m":4,"step":5}],` + lean, "no_better_move", false, true},
		{"no fitting shim", `{"tolerance":"0.1 mm/m","adjusters":[{"name":"b","nod_mm_per_m":4,"stock_mm":[3,4]}],` +
			lean, "no_better_move", false, true},
		{"one axis measured", `{"tolerance":"0.1 mm/m",` + two +
			`,"history":[{"tilt_mm_per_m":0.9,"nod_mm_per_m":null,"u_mm_per_m":0.01}]}`, "one_axis", true, false},
		{"moved and not measured", `{"tolerance":"0.1 mm/m",` + two +
			`,"history":[{"tilt_mm_per_m":0.9,"nod_mm_per_m":0,"u_mm_per_m":0.01,"moved":{"swing":-0.2}}]}`,
			"measure_first", false, false},
		{"changed by itself", `{"tolerance":"0.1 mm/m",` + two +
			`,"history":[{"tilt_mm_per_m":0.02,"nod_mm_per_m":0,"u_mm_per_m":0.01},{"tilt_mm_per_m":1.5,"nod_mm_per_m":0.7,"u_mm_per_m":0.01}]}`, "changed_unmoved", true, false},
		{"did not move", `{"tolerance":"0.1 mm/m",` + two +
			`,"history":[{"tilt_mm_per_m":1.9,"nod_mm_per_m":0.9,"u_mm_per_m":0.01,"moved":{"swing":-0.2}},
			{"tilt_mm_per_m":1.05,"nod_mm_per_m":0.9,"u_mm_per_m":0.01,"moved":{"swing":-0.25}},{"tilt_mm_per_m":1.05,"nod_mm_per_m":0.9,"u_mm_per_m":0.01}]}`, "stuck", true, false},
		{"a sign the wrong way round", `{"tolerance":"0.1 mm/m",` + two +
			`,"history":[{"tilt_mm_per_m":1.0,"nod_mm_per_m":0.0,"u_mm_per_m":0.01,"moved":{"swing":-0.2}},
			{"tilt_mm_per_m":1.85,"nod_mm_per_m":0.0,"u_mm_per_m":0.01,"moved":{"swing":-0.1}},{"tilt_mm_per_m":2.27,"nod_mm_per_m":0,"u_mm_per_m":0.01}]}`, "reversed", true, false},
		{"contradiction", `{"tolerance":"0.1 mm/m",` + two +
			`,"history":[{"tilt_mm_per_m":1.9,"nod_mm_per_m":0.9,"u_mm_per_m":0.01,"moved":{"swing":-0.2}},
			{"tilt_mm_per_m":1.06,"nod_mm_per_m":0.9,"u_mm_per_m":0.01,"moved":{"swing":-0.1}},{"tilt_mm_per_m":0.64,"nod_mm_per_m":0.9,"u_mm_per_m":0.01,"moved":{"swing":-0.1}},
			{"tilt_mm_per_m":-1.2,"nod_mm_per_m":0.3,"u_mm_per_m":0.01}]}`, "contradiction", true, false},
	} {
		t.Run(tc.name, func(t *testing.T) {
			a := ask(t, tc.text)
			if !a.has(tc.code) || (len(a.Moves) > 0) != tc.moves || a.Done != tc.done || a.Why == "" {
				t.Errorf("want %s, moves %v, done %v: %+v", tc.code, tc.moves, tc.done, a)
			}
		})
	}
}

func TestAnUnknownAdjusterInTheRecordTeachesNothing(t *testing.T) {
	tol, _ := units.ParseTolerance("0.1 mm/m")
	a, err := Advise(Problem{Tolerance: tol, Adjusters: []Adjuster{{Name: "a", Tilt: 4}, {Name: "b", Nod: 4}},
		History: []Entry{
			{Tilt: 1, Nod: 1, TiltU: 0.01, NodU: 0.01, Moved: map[string]float64{"old shim": 0.1}},
			{Tilt: 0.5, Nod: -0.2, TiltU: 0.01, NodU: 0.01},
		}})
	if err != nil || !a.has("unknown_adjuster") || a.Learned[0].Tilt != 4.08 && math.Abs(a.Learned[0].Tilt-4) > 0.2 ||
		len(a.Moves) != 2 {
		t.Errorf("%v %+v", err, a)
	}
}

// Words come from the machine's owner.
func TestSentences(t *testing.T) {
	w := Words{Plus: "pack {} behind the lower bolts", Minus: "pack {} behind the upper bolts",
		Notes: "lower screws first"}
	a := Adjuster{Name: "shim", Unit: "mm", Words: w}
	for by, want := range map[float64]string{0.2: "Pack 0.2 mm behind the lower bolts. Lower screws first.",
		-0.05: "Pack 0.05 mm behind the upper bolts. Lower screws first."} {
		if got := a.say(by); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
	if got := (Adjuster{Name: "swing"}).say(-0.2); got != "Move swing by -0.2 mm." {
		t.Errorf("%q", got)
	}
}

// Shims are said as the stack there is to be, since what was packed may have to come out for it.
func TestAStackIsSaidAsAWhole(t *testing.T) {
	adj := Adjuster{Name: "shim", Unit: "mm", StockMM: []float64{0.05, 0.1, 0.2},
		Words: Words{Plus: "pack {} behind the lower bolts", Minus: "pack {} behind the upper bolts"}}
	for _, tc := range []struct {
		by, packed float64
		want       string
	}{
		{0.1, 0, "Pack 0.1 mm behind the lower bolts."},
		{0.25, 0, "Pack 0.25 mm (0.2 + 0.05) behind the lower bolts."},
		{0.05, 0.1, "Pack 0.15 mm (0.1 + 0.05) in all behind the lower bolts."},
		{-0.3, 0.1, "Pack 0.2 mm in all behind the upper bolts."},
		{-0.1, 0.1, "Shim: take out all the shims that were packed."},
	} {
		m := Move{By: tc.by}
		m.pack(adj, tc.packed+tc.by)
		if m.Say != tc.want {
			t.Errorf("%q, want %q", m.Say, tc.want)
		}
	}
	if got := compose([]float64{0.03, 0.02, 0.05, 0.02}, 0.07); len(got) != 2 || got[0] != 0.05 || got[1] != 0.02 {
		t.Errorf("%v", got)
	}
	if got := compose([]float64{0.03, 0.02}, 0.04); got != nil {
		t.Errorf("%v", got)
	}
	many := make([]float64, 64) // every stack different: bounded all the same
	for i := range many {
		many[i] = 0.01 + 0.000001*float64(i*i*i)
	}
	if n := len(stacks(many, 0)); n > 2*maxSums+1 {
		t.Errorf("%d stacks", n)
	}
}

// Whatever is asked: no panic, only amounts that exist, a chance that is one, and numbers JSON can say.
func TestAnyProblemGetsAnAnswerThatCanBeActedOn(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		tol, _ := units.ParseTolerance("0.1 mm/m")
		p := Problem{Tolerance: tol}
		steps := map[string]float64{}
		for i := range rapid.IntRange(0, 4).Draw(rt, "adjusters") {
			a := Adjuster{Name: string(rune('a' + i)), Tilt: rapid.Float64Range(-20, 20).Draw(rt, "tilt"),
				Nod:  rapid.Float64Range(-20, 20).Draw(rt, "nod"),
				Step: rapid.SampledFrom([]float64{0, 0.01, 0.05, 1}).Draw(rt, "step")}
			steps[a.Name] = a.Step
			p.Adjusters = append(p.Adjusters, a)
		}
		for range rapid.IntRange(1, 6).Draw(rt, "measurements") {
			e := Entry{Tilt: rapid.Float64Range(-50, 50).Draw(rt, "x"), Nod: rapid.Float64Range(-50, 50).Draw(rt, "y"),
				TiltU: rapid.SampledFrom([]float64{0, 1e-6, 0.01, 3}).Draw(rt, "u"), Moved: map[string]float64{}}
			e.NodU = e.TiltU
			for _, a := range p.Adjusters {
				e.Moved[a.Name] = rapid.SampledFrom([]float64{0, 0.1, -3, 1e5}).Draw(rt, "by")
			}
			p.History = append(p.History, e)
		}
		p.History[len(p.History)-1].Moved = nil
		a, err := Advise(p)
		if err != nil {
			rt.Fatal(err)
		}
		if _, err := json.Marshal(a); err != nil {
			rt.Fatal(err)
		}
		if !(a.Expected.Chance >= 0 && a.Expected.Chance <= 1) || (a.Done && len(a.Moves) > 0) {
			rt.Fatalf("%+v", a)
		}
		for _, m := range a.Moves {
			if s := steps[m.Adjuster]; m.By == 0 || (s > 0 && math.Abs(m.By/s-math.Round(m.By/s)) > 1e-6) {
				rt.Fatalf("%+v is no whole number of steps of %v", m, s)
			}
		}
	})
}
