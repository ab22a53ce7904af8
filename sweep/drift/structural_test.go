package drift

import (
	"encoding/json"
	"math"
	"os"
	"testing"
)

// structural is what a general-purpose library of structural time series says of simulated series
// (testdata/published/drift_structural.py, statsmodels 0.13.5).
type structural struct {
	Series []struct {
		Name   string
		Y      []float64
		Wander float64
		StepAt int `json:"step_at"`
		Known  struct {
			Level, Slope float64
			LevelSE      float64 `json:"level_se"`
			SlopeSE      float64 `json:"slope_se"`
		}
		Fitted struct {
			Level, Slope, Irregular float64
			LevelSE                 float64 `json:"level_se"`
			SlopeSE                 float64 `json:"slope_se"`
			IrregularSE             float64 `json:"irregular_se"`
			LevelVariance           float64 `json:"level_variance"`
			LevelVarianceSE         float64 `json:"level_variance_se"`
		}
	}
}

func readStructural(t *testing.T) structural {
	t.Helper()
	text, err := os.ReadFile("../../testdata/published/drift_structural.json")
	if err != nil {
		t.Fatal(err)
	}
	var out structural
	if err := json.Unmarshal(text, &out); err != nil {
		t.Fatal(err)
	}
	if len(out.Series) != 4 {
		t.Fatalf("%d series", len(out.Series))
	}
	return out
}

// At given variances the filter's level, slope and their standard errors are the library's, with an intervention too.
func TestTheFilterAgainstAStructuralLibrary(t *testing.T) {
	const wide = 1e4 // the library's start, as a standard deviation
	for _, s := range readStructural(t).Series {
		p := process{wander: s.Wander, steep: wide, tau: -1}
		var x state
		for k, y := range s.Y {
			if k == 0 {
				x.begin(&p, y, 1, 0, perKelvin{})
				continue
			}
			x.predict(&p, 1, 0)
			if k == s.StepAt {
				x.ll += wide * wide
			}
			x.update(&p, y, 1, 0)
		}
		level, variance := x.lean(0)
		near(t, s.Name+": level", level, s.Known.Level, 1e-4)
		near(t, s.Name+": its standard error", math.Sqrt(variance), s.Known.LevelSE, 1e-4)
		near(t, s.Name+": slope", x.rate, s.Known.Slope, 1e-4)
		near(t, s.Name+": its standard error", math.Sqrt(x.bb), s.Known.SlopeSE, 1e-4)
	}
}

// What is believed of a series that comes in check by check, steps found by the chart, agrees with what the library
// fits by maximum likelihood to all of it, the step's time being told it.
func TestWhatIsBelievedAgainstAStructuralLibrary(t *testing.T) {
	const unit = 0.005 // mm/m, of the series
	for _, s := range readStructural(t).Series {
		tr := New()
		for k, y := range s.Y {
			play(t, tr, []Check{check(float64(k), unit*y, 0, 0.004)})
		}
		now, b := tr.Now()[0], tr.axes[0].bank
		irregular := b.sigma().variance() / sq(unit)
		wander := 0.0
		for i := range b.h {
			wander += b.h[i].weight * sq(b.h[i].wander) * irregular
		}
		t.Logf(
			"%s: level %.2f, library %.2f ± %.2f; slope %.3f, %.3f ± %.3f; irregular %.2f, %.2f ± %.2f; level variance %.3f, %.3f ± %.3f", s.Name,
			now.Level/unit, s.Fitted.Level, s.Fitted.LevelSE, now.Rate/unit, s.Fitted.Slope, s.Fitted.SlopeSE,
			irregular, s.Fitted.Irregular, s.Fitted.IrregularSE, wander, s.Fitted.LevelVariance,
			s.Fitted.LevelVarianceSE)
		near(t, s.Name+": level", now.Level/unit, s.Fitted.Level, s.Fitted.LevelSE)
		near(t, s.Name+": slope", now.Rate/unit, s.Fitted.Slope, s.Fitted.SlopeSE)
		near(t, s.Name+": irregular", irregular, s.Fitted.Irregular, s.Fitted.IrregularSE)
		near(t, s.Name+": level variance", wander, s.Fitted.LevelVariance, s.Fitted.LevelVarianceSE)
	}
}
