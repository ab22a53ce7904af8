package charts

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"tramd/testdata/published"
)

// NIST/SEMATECH e-Handbook 6.3.2.2: flow rates of ten batches; limits printed there.
func TestIndividuals(t *testing.T) {
	l := Individuals([]float64{49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1})
	published.Near(t, "centre", l.Centre, 50.81, 5e-3)
	published.Near(t, "upper limit", l.Upper, 55.8041, 5e-4)
	published.Near(t, "lower limit", l.Lower, 45.8159, 5e-4)
	if l := Individuals([]float64{1}); !math.IsNaN(l.Upper) {
		t.Error("limits from one figure")
	}
}

// NIST/SEMATECH e-Handbook 6.3.2.4; the limits printed there come from a root rounded to 0.4201.
func TestEWMA(t *testing.T) {
	x, printed := published.Column(t, "drift_nist_ewma.csv", "x"),
		published.Column(t, "drift_nist_ewma.csv", "ewma_printed")
	for i, z := range EWMA(x, 0.3, 50) {
		published.Near(t, "EWMA", z, printed[i], 0.011)
	}
	l := EWMALimits(50, 2.0539, 0.3, 3, -1)
	published.Near(t, "upper limit", l.Upper, 52.5884, 1e-3)
	published.Near(t, "lower limit", l.Lower, 47.4115, 1e-3)
	first := EWMALimits(50, 2.0539, 0.3, 3, 1)
	published.Near(t, "upper limit after one figure", first.Upper, 50+3*2.0539*0.3, 1e-9) // one figure's share, by hand
}

func TestMannKendall(t *testing.T) {
	// Worked by hand at the source named in the file.
	m := MannKendall(published.Column(t, "drift_mann_kendall.csv", "y"))
	if m.S != 54 {
		t.Errorf("S %d, want 54", m.S)
	}
	published.Near(t, "variance", m.Variance, 332.6667, 1e-4)
	published.Near(t, "Z", m.Z, 2.9058, 1e-4)
	published.Near(t, "one-sided p", m.P()/2, 0.0018, 5e-5)
	published.Near(t, "two-sided p", m.P(), 2*(1-distuv.UnitNormal.CDF(m.Z)), 1e-12)

	// The Nile: own computation with scipy 1.10.1.
	n := MannKendall(published.Column(t, "drift_nile.csv", "flow"))
	if n.S != -1387 {
		t.Errorf("S %d, want -1387", n.S)
	}
	published.Near(t, "variance", n.Variance, 112728.33333, 1e-4)
	published.Near(t, "Z", n.Z, -4.128066522844101, 1e-9)
	if z := MannKendall([]float64{1, 1, 1, 1, 1}).Z; z != 0 {
		t.Errorf("five equal figures: Z %v", z)
	}
}

func TestTheilSen(t *testing.T) {
	// The worked example of the paper; about 93 %: 1.8119 standard deviations.
	s := TheilSen(published.Column(t, "drift_sen1968.csv", "t"), published.Column(t, "drift_sen1968.csv", "x"),
		distuv.UnitNormal.Quantile(0.965))
	published.Near(t, "slope", s.Slope, 4, 1e-12)
	published.Near(t, "low", s.Low, 26.0/7, 1e-12)
	published.Near(t, "high", s.High, 35.0/8, 1e-12)

	n := TheilSen(published.Column(t, "drift_nile.csv", "year"), published.Column(t, "drift_nile.csv", "flow"),
		1.959963985)
	published.Near(t, "the Nile's slope", n.Slope, -2.6, 1e-12)
	published.Near(t, "its low end", n.Low, -3.627906976744186, 1e-9)
	published.Near(t, "its high end", n.High, -1.4285714285714286, 1e-9)
	if s := TheilSen([]float64{1, 1}, []float64{1, 2}, 2); !math.IsNaN(s.Slope) {
		t.Error("a slope at one instant")
	}
}
