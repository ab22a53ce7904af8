package uncertainty

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"sort"
	"testing"
)

func load(t *testing.T, name string, into any) {
	t.Helper()
	data, err := os.ReadFile("../../testdata/published/" + name)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, into); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: got %v, want %v within %v", what, got, want, within)
	}
}

// JCGM 100:2008, H.1: effective degrees of freedom and expanded uncertainty of an end gauge.
func TestEndGauge(t *testing.T) {
	var h1 struct {
		Components []struct {
			Name   string
			U, DoF float64
		}
		UC  float64 `json:"u_c"`
		Nu  float64 `json:"nu_eff"`
		T99 float64 `json:"t99_printed"`
		U99 float64 `json:"U99_printed"`
	}
	load(t, "full_gum_h1.json", &h1)
	var b Budget
	for _, c := range h1.Components {
		b = append(b, Component{Name: c.Name, Type: A, U: c.U, Unit: "nm", Sensitivity: 1, DoF: c.DoF})
	}
	if len(b) != 4 {
		t.Fatalf("%d components read, want 4", len(b))
	}
	near(t, "u_c", b.Combined(), h1.UC, 1e-9)
	near(t, "effective degrees of freedom", b.DoF(), h1.Nu, 1e-9)
	factor := truncatedFactor(0.99, b.DoF()) // as H.1.6 does
	near(t, "t99", factor, h1.T99, 0.005)
	near(t, "U99", factor*b.Combined(), h1.U99, 0.6) // printed from the rounded u_c of 32 nm
	half, between := b.Expanded(0.99)
	if over, under := truncatedFactor(0.99, 17), factor; !(over < between && between < under) {
		t.Errorf("interpolated factor %v, want one between %v and %v", between, over, under)
	}
	near(t, "interpolated U99", half, between*b.Combined(), 1e-12)
	var shares float64
	for i := range b {
		shares += b.Share(i)
	}
	near(t, "sum of shares", shares, 1, 1e-12)
}

// JCGM 100:2008, H.3: a line fitted to a thermometer's corrections, its covariance carried to a prediction. The law of
// propagation with correlated inputs is applied as uncorrelated components about the middle of the readings.
func TestThermometer(t *testing.T) {
	var h3 struct {
		T, B      []float64
		Y1, Y2, R float64
		S1, S2    float64
		B30, UB30 float64
		SY1       float64 `json:"s_y1"`
		SY2       float64 `json:"s_y2"`
		UB        float64 `json:"u_b30"`
	}
	load(t, "full_gum_h3.json", &h3)
	n := float64(len(h3.T))
	var mt, mb float64
	for i := range h3.T {
		mt += h3.T[i] / n
		mb += h3.B[i] / n
	}
	var stt, stb, ss float64
	for i := range h3.T {
		stt += (h3.T[i] - mt) * (h3.T[i] - mt)
		stb += (h3.T[i] - mt) * (h3.B[i] - mb)
	}
	slope := stb / stt
	for i := range h3.T {
		e := h3.B[i] - mb - slope*(h3.T[i]-mt)
		ss += e * e
	}
	s := math.Sqrt(ss / (n - 2))
	at := func(temperature float64) Budget {
		return Budget{
			{Name: "mean", Type: A, U: s / math.Sqrt(n), Sensitivity: 1, DoF: n - 2},
			{Name: "slope", Type: A, U: s / math.Sqrt(stt), Sensitivity: temperature - mt, DoF: n - 2},
		}
	}
	near(t, "slope", slope, h3.Y2, 5e-6)
	near(t, "s(slope)", at(0)[1].U, h3.SY2, 5e-6)
	near(t, "intercept at 20", mb+slope*(20-mt), h3.Y1, 5e-5)
	near(t, "s(intercept)", at(20).Combined(), h3.SY1, 5e-5)
	near(t, "correction at 30", mb+slope*(30-mt), h3.B30, 5e-5)
	near(t, "u at 30", at(30).Combined(), h3.UB, 5e-5)
	r := at(20)[1].U * (20 - mt) / at(20).Combined()
	near(t, "correlation", r, h3.R, 5e-4)
}

// JCGM 106:2012, clause 7.
func TestConformity(t *testing.T) {
	var c struct {
		Examples []struct {
			Name          string
			Lower, Upper  *float64
			Y, U, Printed float64
		}
		Worst float64 `json:"worst_risk_guard_2u"`
	}
	load(t, "full_jcgm106.json", &c)
	if len(c.Examples) != 3 {
		t.Fatalf("%d examples read, want 3", len(c.Examples))
	}
	for _, e := range c.Examples {
		lower, upper := math.Inf(-1), math.Inf(1)
		if e.Lower != nil {
			lower = *e.Lower
		}
		if e.Upper != nil {
			upper = *e.Upper
		}
		near(t, e.Name, Inside(e.Y, e.U, math.Inf(1), lower, upper), e.Printed, 0.005)
	}
	// On the edge of a guard band of 2u the risk of a wrong "conforms" is at its worst.
	near(t, "risk at the guard band", 1-Inside(1-2*0.01, 0.01, math.Inf(1), math.Inf(-1), 1), c.Worst, 1e-12)
}

// JCGM 101:2008: the propagation of distributions by Monte Carlo must agree with the budget, here for a slope from a
// difference of two readings over a radius, the indicator's permissible error taken as rectangular. The
// tolerance is one half of the last of two significant digits (JCGM 101, 7.9.2).
func TestPropagationOfDistributions(t *testing.T) {
	const a, b, r = 0.0312, -0.0188, 120.0 // mm, mm, mm
	const uRead, uRadius, mpe = 0.0015, 0.5, 0.002
	value := (a - b) / (2 * r)
	budget := Budget{
		{Name: "first reading", Type: B, U: uRead, Sensitivity: 1 / (2 * r), DoF: math.Inf(1)},
		{Name: "second reading", Type: B, U: uRead, Sensitivity: -1 / (2 * r), DoF: math.Inf(1)},
		{Name: "permissible error", Type: B, U: mpe / math.Sqrt(3), Sensitivity: 1 / (2 * r), DoF: math.Inf(1)},
		{Name: "radius", Type: B, U: uRadius, Sensitivity: -value / r, DoF: math.Inf(1)},
	}
	rnd := rand.New(rand.NewPCG(11, 12))
	const trials = 200_000
	got := make([]float64, trials)
	var mean, square float64
	for i := range got {
		d := a + uRead*rnd.NormFloat64() - b - uRead*rnd.NormFloat64() + mpe*(2*rnd.Float64()-1)
		got[i] = d / (2 * (r + uRadius*rnd.NormFloat64()))
		mean += got[i] / trials
	}
	for _, v := range got {
		square += (v - mean) * (v - mean) / trials
	}
	half, _ := budget.Expanded(0.95)
	sort.Float64s(got)
	const digit = 0.5e-6 // u is 1.0e-5
	near(t, "u", budget.Combined(), math.Sqrt(square), digit)
	near(t, "lower end", value-half, got[trials*25/1000], digit)
	near(t, "upper end", value+half, got[trials*975/1000], digit)
}

func TestBudgetJSON(t *testing.T) {
	in := Budget{{Name: "a", Type: A, U: 2, Unit: "mm", Sensitivity: -3, DoF: 4, Note: "n"},
		{Name: "b", Type: B, U: 1, Sensitivity: 1, DoF: math.Inf(1)}}
	data, err := json.Marshal(in)
	if err != nil {
		t.Fatal(err)
	}
	var out Budget
	if err := json.Unmarshal(data, &out); err != nil {
		t.Fatal(err)
	}
	if len(out) != 2 || out[0] != in[0] || out[1] != in[1] {
		t.Errorf("came back as %+v", out)
	}
	if u, dof := (Budget{}).Combined(), (Budget{}).DoF(); u != 0 || !math.IsInf(dof, 1) {
		t.Errorf("an empty budget gives %v, %v", u, dof)
	}
}

// truncatedFactor is Factor with the degrees of freedom truncated to the next lower whole number, as GUM G.4.1 allows.
func truncatedFactor(coverage, dof float64) float64 { return Factor(coverage, math.Floor(dof+1e-9)) }
