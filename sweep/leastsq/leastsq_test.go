package leastsq

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
)

const published = "../../testdata/published"

type reference struct {
	Source  string
	Beta    []float64
	SD      []float64
	ResidSD float64 `json:"resid_sd"`
	Cov     [][]float64
	Data    [][]float64
}

func load(t *testing.T, name string, into any) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(published, name))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, into); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
}

// digits is the number of correct significant digits, the measure NIST judges solvers by.
func digits(got, want float64) float64 {
	if got == want {
		return 16
	}
	scale := math.Abs(want)
	if want == 0 {
		scale = 1
	}
	return -math.Log10(math.Abs(got-want) / scale)
}

func build(t *testing.T, p int) *Builder {
	t.Helper()
	b, err := New(p)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// NIST/ITL Statistical Reference Datasets, Linear Least Squares Regression: certified coefficients, standard deviations
// and residual standard deviation. The covariance is from an exact rational solution of the same data.
func TestStRD(t *testing.T) {
	cases := []struct {
		name    string
		columns func(row []float64) []float64
		atLeast float64 // correct digits; the data set's own difficulty limits them in double precision
		scale   float64 // of y, where the certified deviations are zero
	}{
		{"noint1", func(r []float64) []float64 { return r[1:] }, 13, 0},
		{"longley", func(r []float64) []float64 { return append([]float64{1}, r[1:]...) }, 9, 0},
		{"wampler1", quintic, 8, 3e6},
		{"wampler2", quintic, 11, 60},
		{"wampler3", quintic, 8, 0},
		{"wampler4", quintic, 7, 0},
		{"wampler5", quintic, 5, 0},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			var ref reference
			load(t, "plain_strd_"+c.name+".json", &ref)
			b := build(t, len(ref.Beta))
			for _, row := range ref.Data {
				b.Add(c.columns(row), row[0])
			}
			s, err := b.Solve()
			if err != nil {
				t.Fatal(err)
			}
			variance := s.RSS / float64(s.N-len(s.Beta))
			if c.scale > 0 {
				if sd := math.Sqrt(variance); sd > 1e-12*c.scale {
					t.Errorf("residual standard deviation %g, certified 0", sd)
				}
			} else if d := digits(math.Sqrt(variance), ref.ResidSD); d < c.atLeast {
				t.Errorf("residual standard deviation %v, certified %v: %.1f digits", math.Sqrt(variance),
					ref.ResidSD, d)
			}
			for i := range s.Beta {
				if d := digits(s.Beta[i], ref.Beta[i]); d < c.atLeast {
					t.Errorf("coefficient %d is %v, certified %v: %.1f digits", i, s.Beta[i], ref.Beta[i], d)
				}
				if c.scale > 0 {
					continue
				}
				if d := digits(math.Sqrt(variance*s.Cov[i][i]), ref.SD[i]); d < c.atLeast {
					t.Errorf("deviation %d: %.1f digits", i, d)
				}
				for j := range s.Cov[i] {
					if d := digits(variance*s.Cov[i][j], ref.Cov[i][j]); d < c.atLeast-1 {
						t.Errorf("covariance %d,%d is %v, exactly %v: %.1f digits", i, j, variance*s.Cov[i][j],
							ref.Cov[i][j], d)
					}
				}
			}
		})
	}
}

func quintic(r []float64) []float64 {
	out := []float64{1}
	for i := range 5 {
		out = append(out, out[i]*r[1])
	}
	return out
}

// JCGM 100:2008 (GUM) H.3, the calibration line of a thermometer with the covariance of intercept and slope.
func TestGUMThermometer(t *testing.T) {
	var ref struct {
		Printed, Computed struct {
			Y1, Y2, R, S, B30 float64
			SY1               float64 `json:"s_y1"`
			SY2               float64 `json:"s_y2"`
			UB30              float64 `json:"u_b30"`
		}
		TB [][2]float64 `json:"t_b"`
	}
	load(t, "plain_gum_h3.json", &ref)
	b := build(t, 2)
	for _, tb := range ref.TB {
		b.Add([]float64{1, tb[0] - 20}, tb[1])
	}
	s, err := b.Solve()
	if err != nil {
		t.Fatal(err)
	}
	v := s.RSS / float64(s.N-2)
	u1, u2, cov := math.Sqrt(v*s.Cov[0][0]), math.Sqrt(v*s.Cov[1][1]), v*s.Cov[0][1]
	at30 := math.Sqrt(u1*u1 + 100*u2*u2 + 20*cov)
	for _, c := range []struct {
		what                         string
		got, computed, printed, half float64
	}{
		{"y1", s.Beta[0], ref.Computed.Y1, ref.Printed.Y1, 5e-5},
		{"y2", s.Beta[1], ref.Computed.Y2, ref.Printed.Y2, 5e-6},
		{"s(y1)", u1, ref.Computed.SY1, ref.Printed.SY1, 5e-5},
		{"s(y2)", u2, ref.Computed.SY2, ref.Printed.SY2, 5e-6},
		{"r", cov / (u1 * u2), ref.Computed.R, ref.Printed.R, 5e-4},
		{"s", math.Sqrt(v), ref.Computed.S, ref.Printed.S, 5e-5},
		{"b(30)", s.Beta[0] + 10*s.Beta[1], ref.Computed.B30, ref.Printed.B30, 5e-5},
		{"u(b(30))", at30, ref.Computed.UB30, ref.Printed.UB30, 5e-5},
	} {
		if d := digits(c.got, c.computed); d < 9 {
			t.Errorf("%s = %v, computed elsewhere as %v", c.what, c.got, c.computed)
		}
		if math.Abs(c.got-c.printed) > c.half {
			t.Errorf("%s = %v, printed %v", c.what, c.got, c.printed)
		}
	}
}

// Folding by blocks must give what one row at a time, exactly repeated, would: many copies of a design leave the
// coefficients alone, divide the covariance and multiply the squares by their number.
func TestManyBlocks(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	rows := make([][4]float64, 37)
	for i := range rows {
		for j := range rows[i] {
			rows[i][j] = rng.NormFloat64()
		}
	}
	fit := func(copies int) Solution {
		b := build(t, 3)
		for range copies {
			for _, r := range rows {
				b.Add(r[:3], r[3])
			}
		}
		s, err := b.Solve()
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	one, many := fit(1), fit(500)
	for i := range one.Beta {
		if d := digits(many.Beta[i], one.Beta[i]); d < 12 {
			t.Errorf("coefficient %d: %v and %v", i, many.Beta[i], one.Beta[i])
		}
		if d := digits(500*many.Cov[i][i], one.Cov[i][i]); d < 12 {
			t.Errorf("covariance %d: %v and %v", i, 500*many.Cov[i][i], one.Cov[i][i])
		}
	}
	if d := digits(many.RSS, 500*one.RSS); d < 12 {
		t.Errorf("squares %v and %v", many.RSS, 500*one.RSS)
	}
}

// A Builder goes on after Solve, and a part of the columns is fitted as if the rest had never been there.
func TestSomeColumns(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	all, some := build(t, 3), build(t, 2)
	for i := range 3000 {
		r := []float64{rng.NormFloat64(), 1, rng.NormFloat64()}
		y := rng.NormFloat64()
		all.Add(r, y)
		some.Add([]float64{r[2], r[1]}, y)
		if i%997 == 10 {
			if _, err := all.Solve(); err != nil {
				t.Fatal(err)
			}
		}
	}
	a, err := all.Solve(2, 1)
	if err != nil {
		t.Fatal(err)
	}
	b, err := some.Solve()
	if err != nil {
		t.Fatal(err)
	}
	for i := range b.Beta {
		if d := digits(a.Beta[i], b.Beta[i]); d < 11 {
			t.Errorf("coefficient %d: %v and %v", i, a.Beta[i], b.Beta[i])
		}
	}
	if d := digits(a.RSS, b.RSS); d < 12 {
		t.Errorf("squares %v and %v", a.RSS, b.RSS)
	}
}

func TestRefused(t *testing.T) {
	if _, err := New(0); err == nil {
		t.Error("a design without columns was accepted")
	}
	b := build(t, 2)
	if _, err := b.Solve(); err == nil {
		t.Error("no rows were accepted")
	}
	for i := range 5 {
		b.Add([]float64{float64(i), 3 * float64(i)}, 1)
	}
	if _, err := b.Solve(); !errors.Is(err, ErrSingular) {
		t.Errorf("columns in proportion: %v", err)
	}
	if _, err := b.Solve(0, 2); err == nil {
		t.Error("a column that is not there was accepted")
	}
}
