package mixed

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"tramd/sweep"
	"tramd/sweep/uncertainty"
	"tramd/sweep/units"
)

// Whatever the sweep, what is said of the tolerance cannot contradict itself: both axes are never likelier within it
// than one, an axis said to be within is so with 95 % at least but for the skew of the terms, and what is known to
// scale or turn the whole lean stands in the covariance of the two axes with its sign.
func TestOneAnswer(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(12, 1))
	for _, f := range append(families(), unseen()...) {
		tr := f.draw(r)
		size := math.Max(math.Abs(tr.tilt), math.Abs(tr.nod))
		tr.setup.Tolerance = units.Tolerance{Limit: units.Slope(size * (0.9 + 0.3*r.Float64()))}
		got, err := Fit(tr.pts, tr.setup)
		if err != nil {
			t.Fatal(err)
		}
		if got.Conformity == nil {
			t.Fatalf("%s: no probability", f.name)
		}
		for _, a := range []*sweep.Axis{got.Tilt, got.Nod} {
			if *got.Conformity > *a.Conformity {
				t.Errorf("%s: both within with %v, one axis with %v", f.name, *got.Conformity, *a.Conformity)
			}
			if a.Verdict == sweep.Within && *a.Conformity < 0.94 || a.Verdict == sweep.Outside && *a.Conformity > 0.06 {
				t.Errorf("%s: %s with probability %v", f.name, a.Verdict, *a.Conformity)
			}
			if k := float64(a.Expanded / a.U); math.Abs(k-uncertainty.Factor(confidence, got.DoF)) > 1e-9*k {
				t.Errorf("%s: expanded is %v times u with %v degrees of freedom", f.name, k, got.DoF)
			}
		}
	}
}

// The interval that is stated holds 95 % of what the model believes, no more and no less, and the covariance is that of
// the belief.
func TestTheIntervalIsOfTheBelief(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(14, 1))
	for i, f := range append(families(), unseen()...) {
		if i%6 != 2 {
			continue
		}
		tr := f.draw(r)
		fitted, got, err := fit(tr.pts, tr.setup, Options{})
		if err != nil {
			t.Fatal(err)
		}
		all, _ := fitted.belief()
		for k, a := range []*sweep.Axis{got.Tilt, got.Nod} {
			m, half := a.Slope.MMPerM(), a.Expanded.MMPerM()
			if math.Abs(m-all.Mean()[k]) > 1e-9 {
				t.Errorf("%s: %v stated, %v believed", f.name, m, all.Mean()[k])
			}
			if p := all.Inside(k, m-half, m+half); math.Abs(p-confidence) > 0.003 {
				t.Errorf("%s: the interval holds %.4f of the belief", f.name, p)
			}
		}
		if want := all.Correlation(); want*got.Covariance[0][1] < 0 {
			t.Errorf("%s: covariance %v, correlation %v", f.name, got.Covariance[0][1], want)
		}
	}
}

// A radius known to 10 % scales tilt and nod alike; an angle known to a degree turns one into the other. By hand: the
// covariance is tilt*nod*0.01 of the first.
func TestCommonPartsCorrelate(t *testing.T) {
	r0 := rand.New(rand.NewPCG(3, 9))
	setup := oneArm(100)
	setup.Indicators[0].RadiusUMM = 10
	var pts []sweep.Point
	for i := range 1000 {
		a := 2 * math.Pi * float64(i) / 1000
		pts = append(pts, sweep.Point{T: float64(i) / 50, Angle: a, Reading: 0.05*math.Cos(a) - 0.03*math.Sin(a) +
			0.0005*r0.NormFloat64()})
	}
	r, err := Fit(pts, setup)
	if err != nil {
		t.Fatal(err)
	}
	want := 0.5e-3 * -0.3e-3 * 0.01
	if got := r.Covariance[0][1]; math.Abs(got-want) > 0.05*math.Abs(want) || got != r.Covariance[1][0] {
		t.Errorf("covariance %v, want %v", got, want)
	}
	if u := math.Sqrt(r.Covariance[0][0]); math.Abs(u-0.05e-3) > 0.003e-3 {
		t.Errorf("tilt's u %v, want 0.05e-3", u)
	}
}

// The fit knows what the sweep was made of.
func TestSizesOfWhatASweepIsMadeOf(t *testing.T) {
	tr := scene{n: 1500, turns: 2, seconds: 60, white: 0.001, form: 0.004, fall: 2, knock: 0.08}.draw(
		rand.New(rand.NewPCG(5, 6)))
	f, _, err := fit(tr.pts, tr.setup, Options{})
	if err != nil {
		t.Fatal(err)
	}
	counts := make([]float64, len(f.bs))
	for i := range f.bs {
		counts[i] = f.bs[i].n
	}
	each := math.Sqrt(median(counts)) // white noise of a reading to that of a typical block
	var weight, white, form float64
	for _, p := range normalise(slices.Clone(f.points)) {
		sd := math.Sqrt(p.s2)
		weight += p.weight
		white += p.weight * sd * each
		form += p.weight * sd * f.levels().form[p.h.form]
	}
	if math.Abs(weight-1) > 1e-9 || white < 0.0005 || white > 0.002 || form < 0.001 || form > 0.016 {
		t.Errorf("weights add up to %v, white noise %v mm a reading, form %v mm", weight, white, form)
	}
	offsets := f.coef[f.d.form+f.d.drift+f.d.extra:]
	if n := f.knocks(); n != 1 || f.groups != 2 || math.Abs(offsets[1]-offsets[0]-0.08) > 0.003 {
		t.Errorf("%d knocks, offsets %v", n, offsets[:f.groups])
	}
}

// Few stations say little of their own scatter, and the result says so by its degrees of freedom: more stations give
// more of them, and a coverage factor nearer to that of the normal distribution.
func TestFewStationsHaveFewDegreesOfFreedom(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(15, 1))
	mean := map[int]float64{}
	for _, n := range []int{6, 48} {
		const sweeps = 10
		for range sweeps {
			var deg, mm []float64
			for i := range n {
				a := 360 * float64(i) / float64(n)
				deg, mm = append(deg, a), append(mm, 0.02*math.Cos(a*math.Pi/180)+0.004*r.NormFloat64())
			}
			got, err := Fit(stations(deg, mm), oneArm(100))
			if err != nil {
				t.Fatal(err)
			}
			mean[n] += got.CoverageFactor / sweeps
			if got.DoF > 1000 {
				t.Errorf("%d stations: %v degrees of freedom", n, got.DoF)
			}
		}
	}
	if normal := uncertainty.Factor(confidence, math.Inf(1)); mean[6] < 1.05*mean[48] || mean[48] < normal {
		t.Errorf("coverage factors %v with 6 and %v with 48 stations, %v of the normal distribution", mean[6],
			mean[48], normal)
	}
}
