package advice

import (
	"encoding/json"
	"strings"
	"testing"

	"tramd/sweep/units"
)

func tolerance(t *testing.T, text string) units.Tolerance {
	t.Helper()
	tol, err := units.ParseTolerance(text)
	if err != nil {
		t.Fatal(err)
	}
	return tol
}

// shims is a log of one adjuster with a stock, packed before, that leaves a nod of 1 mm/m: fifteen times the limit.
func shims(t *testing.T, stock []float64, packed float64) Problem {
	t.Helper()
	return Problem{
		Tolerance: tolerance(t, "0.02/300"),
		Adjusters: []Adjuster{{Name: "lower shim", Unit: "mm", Nod: 7.1, StockMM: stock}},
		History: []Entry{
			{Tilt: 0, Nod: -1 - 7.1*packed, TiltU: 0.005, NodU: 0.005, Moved: map[string]float64{"lower shim": packed}},
			{Tilt: 0, Nod: -1, TiltU: 0.005, NodU: 0.005},
		},
	}
}

func (a Answer) warned(code string) string {
	for _, w := range a.Warnings {
		if w.Code == code {
			return w.Text
		}
	}
	return ""
}

// Out of shims at fifteen times the limit the answer was "stop here" and "thinner shims".
func TestOutOfShimsIsNotDone(t *testing.T) {
	a, err := Advise(shims(t, []float64{0.1}, 0.1))
	if err != nil {
		t.Fatal(err)
	}
	text := a.warned("out_of_stock")
	if a.Done || len(a.Moves) != 0 || !strings.Contains(a.Why, "used up") || !strings.Contains(text, "thicker") ||
		!strings.Contains(text, "0.24 mm in all") {
		t.Errorf("%+v", a)
	}
	if strings.Contains(a.Why+text, "thinner") || strings.Contains(a.Why, "Stop") {
		t.Errorf("%s %s", a.Why, text)
	}
}

// A shim that is left and would help was left out: the fifth of five, and a thin one beside a thick one.
func TestAShimThatIsLeftIsPacked(t *testing.T) {
	for _, x := range []struct {
		stock      []float64
		packed, by float64
	}{{[]float64{0.1, 0.1, 0.1, 0.1, 0.1}, 0.4, 0.1}, {[]float64{0.1, 0.003}, 0.1, 0.003},
		{[]float64{0.1, 0.02}, 0.1, 0.02}} {
		a, err := Advise(shims(t, x.stock, x.packed))
		if err != nil {
			t.Fatal(err)
		}
		if a.Done || len(a.Moves) != 1 || round(a.Moves[0].By, 1e-6) != x.by ||
			len(a.Moves[0].StackMM) != len(x.stock) {
			t.Errorf("%+v: %+v", x, a)
		}
		if a.warned("out_of_stock") == "" {
			t.Errorf("%+v: no warning names the missing part: %+v", x, a.Warnings)
		}
	}
}

// Enough on hand is no shortage.
func TestAStockThatReachesIsNoShortage(t *testing.T) {
	a, err := Advise(shims(t, []float64{0.1, 0.1, 0.05, 0.04}, 0.1))
	if err != nil || len(a.Moves) != 1 || a.warned("out_of_stock") != "" {
		t.Errorf("%+v, %v", a, err)
	}
}

// A first move stops short of what the description asks for, and says so and why.
func TestACautiousFirstMoveSaysSo(t *testing.T) {
	p := Problem{
		Tolerance: tolerance(t, "0.02/300"), Adjusters: []Adjuster{{Name: "swing", Unit: "mm", Tilt: 4.2}},
		History: []Entry{{Tilt: 0.9, Nod: 0, TiltU: 0.01, NodU: 0.01}},
	}
	a, err := Advise(p)
	if err != nil || len(a.Moves) != 1 || a.Moves[0].By <= -0.9/4.2 ||
		!strings.Contains(a.Why, "cautious first move of swing") ||
		!strings.Contains(a.Why, "has not been measured yet") {
		t.Errorf("%+v, %v", a, err)
	}
	p.History[0].Moved = map[string]float64{"swing": -0.2}
	p.History = append(p.History, Entry{Tilt: 0.2, Nod: 0, TiltU: 0.01, NodU: 0.01})
	if a, err = Advise(p); err != nil || strings.Contains(a.Why, "cautious") {
		t.Errorf("the second move: %+v, %v", a, err)
	}
}

// An effect of 5e-324 gave "Move swing by +NaN mm" and an answer that was no JSON.
func TestAnEffectOfNothingIsNoEffect(t *testing.T) {
	for _, tiny := range []float64{5e-324, 1e-300, -1e-12} {
		p := Problem{
			Tolerance: tolerance(t, "0.02/300"), Adjusters: []Adjuster{{Name: "swing", Unit: "mm", Tilt: tiny}},
			History: []Entry{{Tilt: 0.9, Nod: 0, TiltU: 0.01, NodU: 0.01}},
		}
		a, err := Advise(p)
		if err != nil || len(a.Moves) != 0 || a.warned("no_effect") == "" {
			t.Errorf("%v: %+v, %v", tiny, a, err)
		}
		if _, err := json.Marshal(a); err != nil {
			t.Errorf("%v: %v", tiny, err)
		}
	}
}
