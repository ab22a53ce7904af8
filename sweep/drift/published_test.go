package drift

import (
	"math"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"tramd/testdata/published"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	published.Near(t, what, got, want, within)
}

// localLevel runs the bank's own filter as the local level model and gives its diffuse log likelihood.
func localLevel(y []float64, observed, wander float64) (float64, state) {
	p := process{wander: math.Sqrt(wander), tau: -1}
	var x state
	x.begin(&p, y[0], observed, 0, perKelvin{})
	sum := 0.0
	for _, v := range y[1:] {
		x.predict(&p, 1, 0)
		x.update(&p, v, observed, 0)
		sum -= 0.5 * (math.Log(2*math.Pi*x.predicted) + x.residual*x.residual/x.predicted)
	}
	return sum, x
}

// The Nile as a local level: J. Durbin and S. J. Koopman, Time Series Analysis by State Space Methods, section 2.2.5,
// print the variances 15099 and 1469.1 (from memory). R 4.2.2's StructTS gives 15098.58 and 1469.15; an own
// maximisation of the diffuse likelihood with numpy 15098.52 and 1469.18 at -632.5456 (99 terms).
func TestNileLocalLevel(t *testing.T) {
	y := published.Column(t, "drift_nile.csv", "flow")
	// For a given ratio of the two the best variance of an observation is the mean of the scaled residuals squared; the
	// ratio by golden section.
	profile := func(logRatio float64) (observed, ll float64) {
		p := process{wander: math.Exp(logRatio / 2), tau: -1}
		var x state
		x.begin(&p, y[0], 1, 0, perKelvin{})
		for _, v := range y[1:] {
			x.predict(&p, 1, 0)
			x.update(&p, v, 1, 0)
			observed += x.residual * x.residual / x.predicted / float64(len(y)-1)
		}
		ll, _ = localLevel(y, observed, observed*math.Exp(logRatio))
		return observed, ll
	}
	const golden = 0.6180339887498949
	low, high := -8.0, 3.0
	for high-low > 1e-9 {
		a, b := high-golden*(high-low), low+golden*(high-low)
		_, la := profile(a)
		if _, lb := profile(b); la > lb {
			high = b
		} else {
			low = a
		}
	}
	observed, ll := profile(low)
	near(t, "variance of an observation", observed, 15098.52, 0.1)
	near(t, "variance of the level", observed*math.Exp(low), 1469.18, 0.1)
	near(t, "log likelihood", ll, -632.5456251, 1e-6)

	// The filter at the printed variances, one year on; numpy and statsmodels 0.13.5 with an exact diffuse start.
	p := process{wander: math.Sqrt(1469.1), tau: -1}
	_, x := localLevel(y, 15099, 1469.1)
	x.predict(&p, 1, 0)
	mean, variance := x.lean(0)
	near(t, "a_101", mean, 798.3702926083641, 1e-8)
	near(t, "P_101", variance, 5501.257941808477, 1e-7)
	near(t, "F_101", variance+15099, 20600.25794180848, 1e-7)

	var first state
	first.begin(&p, y[0], 15099, 0, perKelvin{})
	first.predict(&p, 1, 0)
	_, variance = first.lean(0)
	near(t, "P_2", variance, 16568.1, 1e-9)
}

// The flow fell in 1899 (strucchange 1.5.3: break after 1898, 95 % interval 1895 to 1902, means 1097.75 and 849.97).
// Seen as it came in, year by year, nothing being known beforehand but the readings themselves.
func TestNileShiftIsFoundSoon(t *testing.T) {
	tr := New()
	begun := 0
	for i, v := range published.Column(t, "drift_nile.csv", "flow") {
		year := 1871 + i
		row, err := tr.Check(Check{Time: time.Date(year, 7, 1, 0, 0, 0, 0, time.UTC), Axis: [2]*Value{{MMPerM: v}, nil},
			SpindleHours: math.NaN()})
		if err != nil {
			t.Fatal(err)
		}
		if row.Alarm != None && begun == 0 {
			begun = year
			if a := row.Alarms[0]; a.Kind != Shift || a.SizeMMPerM >= 0 {
				t.Errorf("in %d: %+v; the flow fell", year, a)
			}
		}
		if year == 1915 {
			if len(row.Alarms) != 1 {
				t.Fatalf("in 1915: %+v", row.Alarms)
			}
			a := row.Alarms[0]
			if from := a.Since.Year(); from < 1896 || from > 1903 { // the first year after the break
				t.Errorf("the shift is dated %d, want 1899, or 1896 to 1903", from)
			}
			near(t, "size of the shift", a.SizeMMPerM, 849.97-1097.75, 50)
		}
	}
	if begun < 1899 || begun > 1905 {
		t.Errorf("first alarm in %d, want soon after 1898", begun)
	}
}

// Student's distribution by the normal one, against gonum.
func TestNormalOfT(t *testing.T) {
	for _, dof := range []float64{3, 5, 10, 30, 300} {
		for _, x := range []float64{0.5, 1, 2, 3, 4} {
			want := distuv.UnitNormal.Quantile(distuv.StudentsT{Sigma: 1, Nu: dof}.CDF(x))
			near(t, "normal of t", normalOfT(x, dof), want, 0.011*want)
		}
	}
	if normalOfT(-2, 5) != -normalOfT(2, 5) {
		t.Error("not odd")
	}
	for _, x := range []float64{0, 1e-9, 1e-3, 0.02999, 0.03, 2} {
		near(t, "log1p", log1p(x), math.Log1p(x), 1e-8)
	}
}
