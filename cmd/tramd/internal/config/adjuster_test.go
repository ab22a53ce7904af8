package config

import (
	"math"
	"strings"
	"testing"

	"tramd/sweep/advice"
	"tramd/sweep/units"
)

const shopful = minimum + `
[[adjuster]]
name = "swing"
kind = "swing"
leans = "left"
lever_mm = 240.0
[[adjuster]]
name = "lower shim"
kind = "shim"
leans = "back"
spacing_mm = 140.0
plus = "pack {} behind the lower bolts"
minus = "pack {} behind the upper bolts"
notes = "lower screws first"
[[adjuster]]
name = "jack"
kind = "screw"
leans = "front"
lever_mm = 100.0
pitch_mm = 1.25
step = 0.05
[[adjuster]]
name = "wedge"
tilt_mm_per_m = 1.5
nod_mm_per_m = -0.5
[shims]
stock_mm = [0.05, 0.1, 0.1]
[[cutter]]
name = "6 mm end mill"
diameter_mm = 6.0
stepover_mm = 3.0
limit_mm = 0.005
`

// Geometry: a turn of t/H, d/L and pitch/L; the signs are those of leans.
func TestAdjustersByGeometry(t *testing.T) {
	c, err := Parse("linnet.toml", []byte(shopful))
	if err != nil {
		t.Fatal(err)
	}
	got := c.Advisers()
	for i, want := range []struct {
		tilt, nod float64
		unit      string
		stock     int
		loosens   bool
	}{{-1000.0 / 240, 0, "mm", 0, false}, {0, 1000.0 / 140, "mm", 3, true}, {0, -12.5, "turn", 0, false},
		{1.5, -0.5, "mm", 0, false}} {
		a := got[i]
		if math.Abs(a.Tilt-want.tilt) > 1e-12 || math.Abs(a.Nod-want.nod) > 1e-12 || a.Unit != want.unit ||
			len(a.StockMM) != want.stock || a.Words.Loosens != want.loosens {
			t.Errorf("%+v, want %+v", a, want)
		}
	}
	if got[1].Words.Notes != "lower screws first" ||
		got[0].Words.Minus != "swing it by {}, the spindle's upper end to the right" {
		t.Errorf("%+v %+v", got[1].Words, got[0].Words)
	}
	if tools := c.Tools(); len(tools) != 1 || tools[0].Validate() != nil || tools[0].LimitMM != 0.005 {
		t.Errorf("%+v", tools)
	}
}

// mustServe wants every adjuster and cutter that was accepted to be of use.
func mustServe(t *testing.T, c *Config) {
	t.Helper()
	tol, err := units.ParseTolerance("0.02/300")
	if err != nil {
		t.Fatal(err)
	}
	p := advice.Problem{Tolerance: tol, Adjusters: c.Advisers(), History: []advice.Entry{{Tilt: 1}}}
	if err := p.Validate(); err != nil {
		t.Errorf("accepted, but the adviser refuses: %v", err)
	}
	for _, x := range c.Tools() {
		if err := x.Validate(); err != nil {
			t.Errorf("accepted, but the finish refuses: %v", err)
		}
	}
}

func TestAnAdjusterThatWouldTurnTheHeadOverIsRefused(t *testing.T) {
	text := strings.Replace(shopful, "pitch_mm = 1.25", "pitch_mm = 9000", 1)
	if _, err := Parse("linnet.toml",
		[]byte(strings.Replace(text, "lever_mm = 100.0", "lever_mm = 0.05", 1))); err == nil ||
		!strings.Contains(err.Error(), "write its lengths as they are") {
		t.Error(err)
	}
}
