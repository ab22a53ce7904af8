package stack

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"tramd/testdata/published"
)

func value(x float64) *float64 { return &x }

func tilt(relation string, v, u float64) Measured {
	return Measured{Relation: relation, Tilt: value(v), TiltU: value(u)}
}

func solve(t *testing.T, rs ...Measured) *Axis {
	t.Helper()
	a, err := Solve(&Stack{Relations: rs})
	if err != nil {
		t.Fatal(err)
	}
	return a.Axes["tilt"]
}

// The adjustment of three measurements around a chain by hand: the closure is shared out by the variances (JCGM
// 100:2008, 5.1.2 for the sums).
func TestTheClosureIsSharedOutByTheVariances(t *testing.T) {
	x := solve(t, tilt(SpindleToTable, 0.30, 0.02), tilt(SpindleToTravel, 0.10, 0.01), tilt(TravelToTable, 0.17, 0.02))
	published.Near(t, "closure", x.Closure.MMPerM, 0.03, 1e-12)
	published.Near(t, "its u", x.Closure.U, 0.03, 1e-12) // sqrt(4+1+4) hundredths
	published.Near(t, "spindle to table", x.Adjusted[SpindleToTable].MMPerM, 0.30-0.03*4/9, 1e-9)
	published.Near(t, "spindle to travel", x.Adjusted[SpindleToTravel].MMPerM, 0.10+0.03*1/9, 1e-9)
	published.Near(t, "travel to table", x.Adjusted[TravelToTable].MMPerM, 0.17+0.03*4/9, 1e-9)
	published.Near(t, "u of spindle to table", x.Adjusted[SpindleToTable].U, math.Sqrt(4e-4*5e-4/(4e-4+5e-4)), 1e-9)
	published.Near(t, "chi-squared", x.ChiSquared, 1, 1e-9) // (0.03/0.03)²
	if *x.Largest != TravelToTable || !x.Consistent {
		t.Errorf("%+v", x)
	}
}

// GUM H.2 (JCGM 100:2008, Table H.4, from memory): resistance, reactance and impedance come of the same readings, so R
// = V/I cos phi and X = V/I sin phi are correlated. Here its rule is asked of sums: the covariances that a stack states
// must give the variance of each derived relation, u²(y-z) = u²(y) + u²(z) - 2 u(y, z).
func TestCovariancesGiveTheVariancesOfDifferences(t *testing.T) {
	x := solve(t, tilt(SpindleToTable, 0.30, 0.02), tilt(SpindleToTravel, 0.10, 0.01), tilt(TravelToTable, 0.17, 0.02),
		tilt(CrossToTable, 0.05, 0.03))
	cov := map[[2]string]float64{}
	for _, c := range x.Covariances {
		cov[c.Of] = c.Value
	}
	u := func(name string) float64 { return x.Adjusted[name].U }
	want := u(SpindleToTable)*u(SpindleToTable) +
		u(CrossToTable)*u(CrossToTable) - 2*cov[[2]string{SpindleToTable, CrossToTable}]
	published.Near(t, "spindle to cross", u(SpindleToCross)*u(SpindleToCross), want, 1e-12)
	want = u(SpindleToTable)*u(SpindleToTable) +
		u(SpindleToTravel)*u(SpindleToTravel) - 2*cov[[2]string{SpindleToTable, SpindleToTravel}]
	published.Near(t, "travel to table", u(TravelToTable)*u(TravelToTable), want, 1e-12)
}

// The test's limit for one measurement too many is the published quantile.
func TestTheClosureTestUsesThePublishedQuantile(t *testing.T) {
	q := published.Column(t, "chi_squared.csv", "q95")[0]
	published.Near(t, "quantile", distuv.ChiSquared{K: 1}.Quantile(0.95), q, 1e-3)
	over := math.Sqrt(q) * math.Sqrt(3) * 0.01
	for _, c := range []struct {
		by         float64
		consistent bool
	}{{over * 0.999, true}, {over * 1.001, false}} {
		x := solve(t, tilt(SpindleToTable, c.by, 0.01), tilt(SpindleToTravel, 0, 0.01), tilt(TravelToTable, 0, 0.01))
		if x.Consistent != c.consistent || x.Closure.Consistent != c.consistent {
			t.Errorf("over by %v: %+v", c.by, x.Closure)
		}
	}
}

// Sound stacks are called inconsistent in at most 7 of 100, and their intervals hold the truth.
func TestSoundStacks(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	const n = 2000
	wrong, held, all := 0, 0, 0
	for range n {
		truth := map[string]float64{}
		sp, tr, cr := 0.3*r.NormFloat64(), 0.3*r.NormFloat64(), 0.3*r.NormFloat64()
		truth[SpindleToTable], truth[SpindleToTravel], truth[TravelToTable] = sp, sp-tr, tr
		truth[CrossToTable], truth[SpindleToCross], truth[TravelToCross] = cr, sp-cr, tr-cr
		var rs []Measured
		for _, name := range []string{SpindleToTable, SpindleToTable, SpindleToTravel, TravelToTable, CrossToTable} {
			u := 0.005 + 0.03*r.Float64()
			rs = append(rs, tilt(name, truth[name]+u*r.NormFloat64(), u))
		}
		x := solve(t, rs...)
		if !x.Consistent {
			wrong++
		}
		for name, v := range x.Adjusted {
			all++
			if math.Abs(v.MMPerM-truth[name]) <= v.Expanded {
				held++
			}
		}
	}
	if share := float64(wrong) / n; share > 0.07 {
		t.Errorf("%.1f %% of sound stacks are called inconsistent", 100*share)
	}
	if share := float64(held) / float64(all); share < 0.93 || share > 0.97 {
		t.Errorf("%.1f %% of the intervals hold the truth", 100*share)
	}
}

// One measurement of five times its uncertainty is named, where those beside it are measured well enough to tell it
// from the rest.
func TestTheWrongOneIsNamed(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	const n = 1000
	named, other := 0, 0
	for range n {
		rs := []Measured{
			tilt(SpindleToTable, 0.01*r.NormFloat64()+0.05, 0.01), tilt(SpindleToTable, 0.01*r.NormFloat64(), 0.01),
			tilt(SpindleToTable, 0.01*r.NormFloat64(), 0.01),
			tilt(SpindleToTravel, 0.005*r.NormFloat64(), 0.005), tilt(TravelToTable, 0.005*r.NormFloat64(), 0.005),
		}
		x := solve(t, rs...)
		switch {
		case x.SuspectIndex != nil && *x.SuspectIndex == 0:
			named++
		case x.Suspect != nil:
			other++
		}
	}
	t.Logf("named in %.1f %%, another in %.1f %%", 100*float64(named)/n, 100*float64(other)/n)
	if named < n*9/10 || other > n*3/100 {
		t.Errorf("named %d of %d, another %d", named, n, other)
	}
}

// Where what stands several times disagrees, the words do not blame the chain, which closes.
func TestAChainThatClosesIsNotSaidToBeOpen(t *testing.T) {
	s := &Stack{Relations: []Measured{tilt(SpindleToTable, 0.05, 0.01), tilt(SpindleToTable, 0, 0.01),
		tilt(SpindleToTable, 0, 0.01),
		tilt(SpindleToTravel, 0, 0.01), tilt(TravelToTable, 0, 0.01)}}
	a, err := Solve(s)
	if err != nil {
		t.Fatal(err)
	}
	if say := strings.Join(a.Say, "\n"); strings.Contains(say, "does not close") ||
		!strings.Contains(say, "same relation disagree") ||
		!strings.Contains(say, "number 1") {
		t.Error(say)
	}
}

func TestWhatCannotBeToldApartIsNotNamed(t *testing.T) {
	x := solve(t, tilt(SpindleToTable, 0.3, 0.01), tilt(SpindleToTravel, 0, 0.01), tilt(TravelToTable, 0, 0.01))
	if x.Consistent || x.Suspect != nil {
		t.Errorf("of a chain of three: %+v", x)
	}
	x = solve(t, tilt(SpindleToTable, 0, 0.01), tilt(SpindleToTable, 0, 0.01), tilt(SpindleToTravel, 0.3, 0.01),
		tilt(TravelToTable, 0, 0.01))
	if x.Consistent || x.Suspect != nil {
		t.Errorf("two in a row of the chain: %+v", x)
	}
}

func TestOneRelationAlone(t *testing.T) {
	a, err := Solve(&Stack{Relations: []Measured{tilt(SpindleToTravel, 0.1, 0.01)}})
	if err != nil {
		t.Fatal(err)
	}
	x := a.Axes["tilt"]
	if x.Closure != nil || len(x.Adjusted) != 1 || a.Axes["nod"] != nil {
		t.Errorf("%+v", x)
	}
	codes := []string{}
	for _, w := range a.Warnings {
		codes = append(codes, w.Code)
	}
	if got := strings.Join(codes, " "); got != "no_chain axis_not_measured cross_not_measured" {
		t.Errorf("warnings %s", got)
	}
}

func TestABadStackIsRefusedWithItsPlace(t *testing.T) {
	for text, want := range map[string]string{
		``:                 "cannot be read",
		`{"relations":[]}`: "there are none",
		`{"relations":[{"relation":"spindle_to_moon","tilt_mm_per_m":1,"tilt_u_mm_per_m":1}]}`:  `relations[0]: "spindle_to_moon" is no relation`,
		`{"relations":[{"relation":"spindle_to_table","tilt_mm_per_m":1,"tilt_u_mm_per_m":0}]}`: "tilt_u_mm_per_m is 0",
		`{"relations":[{"relation":"spindle_to_table","tilt_mm_per_m":1}]}`:                     "tilt_u_mm_per_m is missing",
		`{"relations":[{"relation":"spindle_to_table"}]}`:                                       "neither",
		`{"relations":[{"relation":"spindle_to_table","nod_mm_per_m":1e9,"nod_u_mm_per_m":1}]}`: "no lean of a machine",
		`{"tolerance":"x","relations":[]}`:                                                      "tolerance",
		`{"what":1}`:                                                                            "unknown field",
		`{"relations":[]} {}`:                                                                   "one JSON object",
	} {
		if _, err := Read(strings.NewReader(text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", text, err, want)
		}
	}
}

func FuzzStack(f *testing.F) {
	f.Add(
		`{"tolerance":"0.02/300","relations":[{"relation":"spindle_to_table","tilt_mm_per_m":0.1,"tilt_u_mm_per_m":0.01}]}`)
	f.Add(
		`{"relations":[{"relation":"travel_to_cross","tilt_mm_per_m":1,"tilt_u_mm_per_m":1e-300,"nod_mm_per_m":2,"nod_u_mm_per_m":900}]}`)
	f.Fuzz(func(t *testing.T, text string) {
		s, err := Read(strings.NewReader(text))
		if err != nil {
			return
		}
		a, err := Solve(s)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := json.Marshal(a); err != nil {
			t.Errorf("%s: %v", text, err)
		}
	})
}
