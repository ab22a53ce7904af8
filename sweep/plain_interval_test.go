package sweep

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// The 95 % interval is to hold the truth in 95 % of sweeps. Each design is swept 2,000 times with white noise; the
// count must lie within the central 99.9 % of the binomial distribution for 0.95.
func TestIntervalHoldsTheTruth(t *testing.T) {
	const sweeps = 2000
	two := oneArm()
	two.Indicators = append(two.Indicators, Indicator{Name: "second", RadiusMM: 90, PhaseDeg: 180})
	coarse := oneArm() // two indicators that are known to differ, each as noisy as it says
	coarse.Indicators[0].ResolutionMM = 0.001 * math.Sqrt(12)
	coarse.Indicators = append(coarse.Indicators,
		Indicator{RadiusMM: 120, PhaseDeg: 90, ResolutionMM: 0.004 * math.Sqrt(12)})
	for _, c := range []struct {
		name  string
		deg   []float64
		setup Setup
		noise []float64
		exact bool // the floor under s never bites
	}{
		{"four stations, one degree of freedom", []float64{0, 90, 180, 270}, oneArm(), []float64{0.002}, true},
		{"eight stations", evenly(9, 0, 360)[:8], oneArm(), []float64{0.002}, true},
		{"five stations, uneven", []float64{0, 20, 100, 170, 290}, oneArm(), []float64{0.002}, true},
		{"dense, part of the circle", evenly(200, 20, 220), oneArm(), []float64{0.001}, true},
		{"two opposite, read three times", []float64{0, 180, 360, 540, 720, 900}, oneArm(), []float64{0.002}, true},
		{"two indicators", evenly(7, 0, 360)[:6], two, []float64{0.002, 0.002}, true},
		{"a fine and a coarse indicator", evenly(41, 0, 360)[:40], coarse, []float64{0.001, 0.004}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(11, 12))
			held, asked := [2]int{}, [2]int{}
			for range sweeps {
				var pts []Point
				for i, ind := range c.setup.Indicators {
					for k, p := range circle(0, 0, 0, 1, c.deg...) {
						sin, cos := math.Sincos(p.Angle + Radians(ind.PhaseDeg))
						p.T, p.Indicator = float64(k), i
						p.Reading = float64(i) + ind.RadiusMM*(1.2e-4*cos-0.7e-4*sin) + c.noise[i]*rng.NormFloat64()
						pts = append(pts, p)
					}
				}
				res, err := FitPlain(pts, c.setup)
				if err != nil {
					t.Fatal(err)
				}
				for a, axis := range []*Axis{res.Tilt, res.Nod} {
					truth := [2]float64{1.2e-4, -0.7e-4}[a]
					if axis == nil {
						continue
					}
					asked[a]++
					if math.Abs(float64(axis.Slope)-truth) <= float64(axis.Expanded) {
						held[a]++
					}
				}
			}
			if asked[0] != sweeps {
				t.Fatalf("tilt in %d of %d sweeps", asked[0], sweeps)
			}
			low, high := binomial(sweeps, 0.95, 0.001)
			for a := range held {
				if asked[a] == 0 {
					continue
				}
				if held[a] < low || (c.exact && held[a] > high) {
					t.Errorf("axis %d: the interval held the truth %d times of %d, want %d to %d", a, held[a],
						asked[a], low, high)
				}
			}
		})
	}
}

// binomial gives the central range of a count that leaves out alpha in all.
func binomial(n int, p, alpha float64) (low, high int) {
	d := distuv.Binomial{N: float64(n), P: p}
	for low = 0; d.CDF(float64(low)) < alpha/2; low++ {
	}
	for high = low; d.CDF(float64(high)) < 1-alpha/2; high++ {
	}
	return low, high
}

// What no repetition can show is added in quadrature: the radius in proportion to the slope, the permissible error as
// a rectangle on a difference across the circle.
func TestTypeB(t *testing.T) {
	setup := Setup{Indicators: []Indicator{{RadiusMM: 100, RadiusUMM: 2, MPEMM: 0.003}}}
	res, err := FitPlain(circle(1e-3, 0, 0, 100, evenly(9, 0, 360)[:8]...), setup)
	if err != nil {
		t.Fatal(err)
	}
	mpe := 0.003 / math.Sqrt(3) / 200
	near(t, "u(nod)", float64(res.Nod.U), mpe, 1e-12)
	near(t, "u(tilt)", float64(res.Tilt.U), math.Hypot(mpe, 1e-3*2/100), 1e-12)
	if res.CoverageFactor > 1.97 {
		t.Errorf("factor %v, though nothing scatters", res.CoverageFactor)
	}
}

// Three stations leave nothing over: what is stated of the indicator is all there is.
func TestThreeStations(t *testing.T) {
	setup := oneArm()
	setup.Indicators[0].ResolutionMM = 0.001
	res, err := FitPlain(circle(1e-4, 2e-4, 0, 120, 0, 120, 240), setup)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "tilt", float64(res.Tilt.Slope), 1e-4, 1e-12)
	near(t, "u", float64(res.Tilt.U), 0.001/math.Sqrt(12)*math.Sqrt(2.0/3)/120, 1e-12)
	if !math.IsInf(res.DoF, 1) || !math.IsNaN(res.ResidualRMSMM) || !math.IsNaN(res.FormPVMM) {
		t.Errorf("dof %v, rms %v, form %v", res.DoF, res.ResidualRMSMM, res.FormPVMM)
	}
	if got := codes(res); got != WarnNoRepeatability+" "+WarnFewStations {
		t.Errorf("warnings %q", got)
	}
}
