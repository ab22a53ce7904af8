package sweep

import (
	"bufio"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

const publishedDir = "../testdata/published"

// unit is an indicator at radius 1, so that slopes are the sine fit's coefficients.
func unit() Setup { return Setup{Indicators: []Indicator{{RadiusMM: 1}}} }

// Three-parameter sine fit at known frequency (IEEE Std 1057): cos, sin and constant by linear least squares. The
// standard prints no numbers; own readings solved with numpy 1.24.2 lstsq.
func TestSineFit(t *testing.T) {
	var ref struct {
		Even struct {
			Z         []float64
			Z0, A, B  float64
			Amplitude float64
			Direction float64 `json:"direction_deg"`
			S         float64
			U         []float64
		} `json:"even_45deg"`
		Uneven struct {
			Theta []float64 `json:"theta_deg"`
			Z     []float64
			Z0AB  []float64 `json:"z0_a_b"`
			S     float64
			Cov   [][]float64
		}
	}
	data, err := os.ReadFile(filepath.Join(publishedDir, "plain_sine_fit.json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, &ref); err != nil {
		t.Fatal(err)
	}
	fit := func(deg, z []float64) Result {
		pts := circle(0, 0, 0, 1, deg...)
		for i := range pts {
			pts[i].Reading = z[i]
		}
		res, err := FitPlain(pts, unit())
		if err != nil {
			t.Fatal(err)
		}
		return res
	}
	e := ref.Even
	res := fit([]float64{0, 45, 90, 135, 180, 225, 270, 315}, e.Z)
	near(t, "even z0", res.OffsetMM[0], e.Z0, 1e-8)
	near(t, "even a", float64(res.Tilt.Slope), e.A, 1e-8)
	near(t, "even b", float64(res.Nod.Slope), e.B, 1e-8)
	near(t, "even s", res.ResidualRMSMM, e.S, 1e-12)
	near(t, "even u(a)", float64(res.Tilt.U), e.U[1], 1e-8)
	near(t, "even amplitude", float64(res.Lean.Slope), e.Amplitude, 1e-12)
	near(t, "even direction", Degrees(res.Lean.Azimuth), e.Direction, 1e-10)

	u := ref.Uneven
	res = fit(u.Theta, u.Z)
	near(t, "uneven z0", res.OffsetMM[0], u.Z0AB[0], 1e-8)
	near(t, "uneven a", float64(res.Tilt.Slope), u.Z0AB[1], 1e-8)
	near(t, "uneven b", float64(res.Nod.Slope), u.Z0AB[2], 1e-8)
	near(t, "uneven s", res.ResidualRMSMM, u.S, 1e-12)
	for i := range 2 {
		for j := range 2 {
			near(t, "uneven covariance", res.Covariance[i][j], u.Cov[i+1][j+1], 1e-14)
		}
	}
}

// At n equal angles X'X is diag(n, n/2, n/2) (identity), so a = 2/n sum z cos, and u(a) = s sqrt(2/n).
func TestClosedFormAtEqualAngles(t *testing.T) {
	for _, n := range []int{4, 5, 8, 12, 36, 360} {
		pts := circle(0, 0, 0, 1, evenly(n+1, 0, 360)[:n]...)
		var a, b, z0 float64
		for i := range pts {
			pts[i].Reading = math.Sin(float64(i * i)) // anything at all
			s, c := math.Sincos(pts[i].Angle)
			a += 2 / float64(n) * pts[i].Reading * c
			b += 2 / float64(n) * pts[i].Reading * s
			z0 += pts[i].Reading / float64(n)
		}
		res, err := FitPlain(pts, unit())
		if err != nil {
			t.Fatal(err)
		}
		near(t, "a", float64(res.Tilt.Slope), a, 1e-13)
		near(t, "b", float64(res.Nod.Slope), b, 1e-13)
		near(t, "z0", res.OffsetMM[0], z0, 1e-13)
		near(t, "u(a)", float64(res.Tilt.U), res.ResidualRMSMM*math.Sqrt(2/float64(n)), 1e-13)
		near(t, "covariance", res.Covariance[0][1], 0, 1e-13)
	}
}

// At n equal angles harmonic k of the surface looks like lean when k is a multiple of n plus or minus one (identity):
// the third goes straight into four stations, and is not seen by eight.
func TestHarmonicAliasing(t *testing.T) {
	for _, c := range []struct {
		n, k int
		want float64
	}{{4, 3, 1}, {4, 5, 1}, {8, 3, 0}, {8, 7, 1}, {8, 9, 1}, {12, 3, 0}, {6, 5, 1}, {6, 2, 0}} {
		pts := circle(0, 0, 0, 1, evenly(c.n+1, 0, 360)[:c.n]...)
		for i := range pts {
			pts[i].Reading = math.Cos(float64(c.k) * pts[i].Angle)
		}
		res, err := FitPlain(pts, unit())
		if err != nil {
			t.Fatal(err)
		}
		near(t, "lean from form", float64(res.Tilt.Slope), c.want, 1e-12)
	}
}

// JCGM 100:2008 (GUM) Table G.2, through R 4.2.2 qt.
func TestStudentFactor(t *testing.T) {
	f, err := os.Open(filepath.Join(publishedDir, "plain_student_t.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	n := 0
	for sc := bufio.NewScanner(f); sc.Scan(); {
		cells := strings.Split(sc.Text(), ",")
		nu, err := strconv.ParseFloat(cells[0], 64)
		if err != nil {
			continue // comment and header
		}
		want, err := strconv.ParseFloat(cells[3], 64)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "t95 for "+cells[0], coverageFactor(nu), want, 1e-6)
		n++
	}
	if n < 20 {
		t.Fatalf("%d rows of the table were read", n)
	}
	for _, nu := range []float64{100, 101.5, 250, 3000, 99999} { // the expansion, against the quantile itself
		exact := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nu}.Quantile(0.975)
		near(t, fmt.Sprintf("t95 for %v", nu), coverageFactor(nu), exact, 2e-9)
	}
	near(t, "normal", coverageFactor(math.Inf(1)), 1.959963985, 1e-9) // standard normal quantile
}

// GUM G.4.1: nu_eff = u_c^4 / (u^4/nu), cut down to a whole number.
func TestEffectiveDegrees(t *testing.T) {
	for _, c := range []struct {
		part, whole float64
		dof         int
		want        float64
	}{
		{1, 1, 9, 9},
		{1, 2, 5, 20},
		{1, 1.5, 7, 15}, // 15.75
		{0, 1, 5, math.Inf(1)},
		{0, 0, 5, 5},
	} {
		if got := welchSatterthwaite(c.part, c.whole, c.dof); got != c.want {
			t.Errorf("%v of %v with %d: %v, want %v", c.part, c.whole, c.dof, got, c.want)
		}
	}
}
