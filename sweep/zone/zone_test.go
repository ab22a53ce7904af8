package zone

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize/convex/lp"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: got %.12g, want %.12g within %g", what, got, want, within)
	}
}

// The cases and their source stand in the file: small examples, solved by a linear program and by exhaustive search.
func TestStraightnessAgainstALinearProgramAndASearch(t *testing.T) {
	text, err := os.ReadFile("../../testdata/published/straightness.json")
	if err != nil {
		t.Fatal(err)
	}
	var in struct {
		Cases []struct {
			Z        []float64
			LsSlope  float64 `json:"ls_slope"`
			LS       float64
			MZ       float64
			MZSlope  float64 `json:"mz_slope"`
			Endpoint float64
		}
	}
	if err := json.Unmarshal(text, &in); err != nil || len(in.Cases) < 3 {
		t.Fatal(err, len(in.Cases))
	}
	for _, c := range in.Cases {
		var x []float64
		for i := range c.Z {
			x = append(x, float64(i))
		}
		near(t, "least squares", LeastSquares(x, c.Z).Height, c.LS, 1e-12)
		near(t, "its slope", LeastSquares(x, c.Z).Slope, c.LsSlope, 1e-12)
		near(t, "minimum zone", new(Solver).Line(x, c.Z).Height, c.MZ, 1e-12)
		near(t, "its slope", new(Solver).Line(x, c.Z).Slope, c.MZSlope, 1e-12)
		near(t, "end points", EndPoints(x, c.Z).Height, c.Endpoint, 1e-12)
	}
}

// program is the minimum zone by a linear program in standard form (gonum's simplex): the width w and the slopes, each
// the difference of two that are not negative, such that every reading lies within the zone.
func program(t *testing.T, cols [][]float64, z []float64) float64 {
	t.Helper()
	n, p := len(z), len(cols)+1
	// Unknowns: p pairs (slopes and height), the width, one slack for each of 2n rows.
	vars := 2*p + 1 + 2*n
	a := mat.NewDense(2*n, vars, nil)
	b := make([]float64, 2*n)
	for i := range n {
		row := func(r int, sign float64) {
			for j := range p {
				v := 1.0
				if j < len(cols) {
					v = cols[j][i]
				}
				a.Set(r, 2*j, sign*v)
				a.Set(r, 2*j+1, -sign*v)
			}
			b[r] = sign * z[i]
			a.Set(r, 2*p+1+r, 1)
		}
		row(i, 1) // line <= z, the zone's lower side
		row(n+i, -1)
		a.Set(n+i, 2*p, -1) // z <= line + w
	}
	for r := range 2 * n {
		if b[r] < 0 {
			b[r] = -b[r]
			for c := range vars {
				a.Set(r, c, -a.At(r, c))
			}
		}
	}
	cost := make([]float64, vars)
	cost[2*p] = 1
	w, _, err := lp.Simplex(cost, a, b, 1e-12, nil)
	if err != nil {
		t.Fatalf("the reference program: %v", err)
	}
	return w
}

func TestTheZoneOfALineIsThatOfALinearProgram(t *testing.T) {
	for seed := range uint64(40) {
		r := rand.New(rand.NewPCG(seed, 1))
		n := 3 + r.IntN(22)
		x, z := make([]float64, n), make([]float64, n)
		for i := range x {
			x[i] = math.Round(20 * r.Float64()) // some alike
			z[i] = 2 + 0.3*x[i] + r.NormFloat64()
		}
		x[0], x[1] = 0, 20
		near(t, "zone", new(Solver).Line(x, z).Height, program(t, [][]float64{x}, z), 1e-8)
	}
}

func TestTheZoneOfAPlaneIsThatOfALinearProgram(t *testing.T) {
	for seed := range uint64(25) {
		r := rand.New(rand.NewPCG(seed, 2))
		n := 5 + r.IntN(25)
		x, y, z := make([]float64, n), make([]float64, n), make([]float64, n)
		for i := range x {
			x[i], y[i] = math.Round(6*r.Float64()), math.Round(4*r.Float64())
			z[i] = 0.3*x[i] - 0.2*y[i] + 0.1*r.NormFloat64()
		}
		x[0], y[0], x[1], y[1], x[2], y[2] = 0, 0, 6, 0, 0, 4
		p, ok := FitPlane(x, y, z)
		if !ok {
			t.Fatal("no plane")
		}
		near(t, "zone", p.Height, program(t, [][]float64{x, y}, z), 1e-8)
	}
}

// A zone's three points in turn, two on one side with one of the other between them, prove that no line does better
// (Chebyshev's criterion); it needs no other program, so it can be asked of many points.
func TestTheZoneOfManyPointsIsProved(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	n := 10_000
	x, z := make([]float64, n), make([]float64, n)
	for i := range x {
		x[i], z[i] = 600*r.Float64(), r.NormFloat64()
	}
	l := new(Solver).Line(x, z)
	type side struct {
		x  float64
		up bool
	}
	var touch []side
	for i := range x {
		d := z[i] - l.At - l.Slope*x[i]
		if math.Abs(math.Abs(d)-l.Height/2) < 1e-9 {
			touch = append(touch, side{x[i], d > 0})
		}
	}
	proved := false
	for _, a := range touch {
		for _, b := range touch {
			for _, c := range touch {
				proved = proved || a.x < b.x && b.x < c.x && a.up == c.up && a.up != b.up
			}
		}
	}
	if !proved {
		t.Errorf("of the points on the edge of the zone none proves it: %v", touch)
	}
}

func TestPlacesOnOneLineHaveNoPlane(t *testing.T) {
	x := []float64{0, 1, 2, 3}
	if _, ok := FitPlane(x, []float64{0, 2, 4, 6}, []float64{1, 2, 1, 2}); ok {
		t.Error("a line was taken for a plane")
	}
	if _, ok := FitPlane(x[:1], x[:1], x[:1]); ok {
		t.Error("a point was taken for a plane")
	}
}

func FuzzZone(f *testing.F) {
	f.Add([]byte{1, 2, 3, 4, 5, 6, 7, 8, 9})
	f.Add([]byte{0, 0, 0, 0, 0, 0, 255, 0, 9, 255, 255, 255})
	f.Fuzz(func(t *testing.T, data []byte) {
		var x, y, z []float64
		for i := 0; i+2 < len(data) && i < 300; i += 3 {
			x, y, z = append(x, float64(data[i])), append(y, float64(data[i+1])), append(z, float64(int8(data[i+2])))
		}
		if len(x) == 0 {
			return
		}
		ls, mz, ep := LeastSquares(x, z).Height, new(Solver).Line(x, z).Height, EndPoints(x, z).Height
		if !(mz <= ls+1e-9) || !(mz <= ep+1e-9) || mz < 0 {
			t.Errorf("the minimum zone %v is no minimum: %v %v", mz, ls, ep)
		}
		if p, ok := FitPlane(x, y, z); ok {
			if l, _ := LeastSquaresPlane(x, y, z); !(p.Height <= l.Height+1e-9) {
				t.Errorf("plane %v, least squares %v", p.Height, l.Height)
			}
		}
	})
}

func BenchmarkZone10000(b *testing.B) {
	r := rand.New(rand.NewPCG(3, 3))
	n := 10_000
	x, y, z := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range x {
		x[i], y[i], z[i] = 600*r.Float64(), 400*r.Float64(), r.NormFloat64()
	}
	b.Run("line", func(b *testing.B) {
		for b.Loop() {
			new(Solver).Line(x, z)
		}
	})
	b.Run("plane", func(b *testing.B) {
		for b.Loop() {
			FitPlane(x, y, z)
		}
	})
	for i := range x { // a grid of a surface that is bent both ways, as read
		x[i], y[i] = float64(6*(i%100)), float64(4*(i/100))
		z[i] = math.Round(2*math.Sin(x[i]/200)-3*math.Cos(y[i]/150)+1e-5*x[i]*y[i]+0.1*r.NormFloat64()) / 1000
	}
	b.Run("plane of a bent grid", func(b *testing.B) {
		for b.Loop() {
			FitPlane(x, y, z)
		}
	})
}
