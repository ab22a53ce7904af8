package mixed

import (
	"math"
	"math/rand/v2"
	"testing"

	"tramd/sweep"
	"tramd/sweep/units"
)

// A half turn judged by the full model, then a later reading of the bar after the head was swung: lean, zero and the
// later lean lie within their intervals as often as they say, on a surface that is not flat, with the spindle's end
// play in both readings alike, and the intervals are no wider than so few readings must give.
func TestHalfTurnCovers(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(31, 7))
	const trials, noise, form, lean, later, zero = 30, 0.0012, 0.0006, 0.2e-3, -0.05e-3, 0.2
	setup := sweep.Setup{AngleSource: "stations", Indicators: []sweep.Indicator{
		{Name: "right", RadiusMM: 100, ResolutionMM: 0.001},
		{Name: "left", RadiusMM: 100, PhaseDeg: 180, ResolutionMM: 0.001}}}
	a, b, p, _ := sweep.OppositePair(setup)
	var heldLean, heldZero, heldLater int
	wide := 0.0
	for range trials {
		amp, phase := form*math.Abs(r.NormFloat64()), 2*math.Pi*r.Float64()
		read := func(th, slope float64) (mm [2]float64) {
			play := 0.002 * r.NormFloat64()
			for i, ind := range setup.Indicators {
				at := th + sweep.Radians(ind.PhaseDeg)
				z := 1.3 - zero*float64(i) + ind.RadiusMM*slope*math.Cos(at) + amp*math.Cos(3*at+phase) +
					noise*r.NormFloat64() + play
				mm[i] = math.Round(z*1000) / 1000
			}
			return mm
		}
		var pts []sweep.Point
		for end := range 2 {
			th := math.Pi * float64(end)
			for i, mm := range read(th, lean) {
				pts = append(pts, sweep.Point{T: 12 * float64(end), Angle: th, Reading: mm, Indicator: i})
			}
		}
		res, err := Fit(pts, setup)
		if err == nil {
			err = res.FindPair(pts, setup)
		}
		if err != nil {
			t.Fatal(err)
		}
		z, ok := p.ZeroOf(res, a, b)
		if !ok {
			t.Fatal("no zero")
		}
		now := read(math.Pi, later)
		got := z.Read(p.Difference(now[0], now[1]))
		within := func(x, half float64) int {
			if math.Abs(x) <= half {
				return 1
			}
			return 0
		}
		heldLean += within(float64(res.Tilt.Slope)-lean, float64(res.Tilt.Expanded))
		heldZero += within(z.MM-zero, res.CoverageFactor*z.UMM)
		heldLater += within(float64(got.Slope)+later,
			float64(got.Expanded)) // the bar was turned: its first indicator is at the left
		wide += got.Expanded.MMPerM() / trials
	}
	t.Logf("held %d, %d, %d of %d; later ±%.4f mm/m", heldLean, heldZero, heldLater, trials, wide)
	for name, held := range map[string]int{"lean": heldLean, "zero": heldZero, "later": heldLater} {
		if held < trials*91/100 {
			t.Errorf("%s: held the truth in %d of %d", name, held, trials)
		}
	}
	if wide > 0.1 {
		t.Errorf("a later lean is given with ±%.3f mm/m", wide)
	}
}

// The offsets of a sweep serve as a zero as well, to a hundredth of a tight tolerance's worth.
func TestASweepZeroesAPair(t *testing.T) {
	r := rand.New(rand.NewPCG(32, 7))
	setup := sweep.Setup{AngleSource: "encoder", Indicators: []sweep.Indicator{
		{Name: "right", RadiusMM: 100, ResolutionMM: 0.001},
		{Name: "left", RadiusMM: 150, PhaseDeg: 180, ResolutionMM: 0.001}}}
	a, b, p, _ := sweep.OppositePair(setup)
	read := func(th, tilt float64, i int) float64 {
		ind := setup.Indicators[i]
		z := 1.3 - 0.2*float64(i) + ind.RadiusMM*tilt*math.Cos(th+sweep.Radians(ind.PhaseDeg)) + 0.001*r.NormFloat64()
		return math.Round(z*1000) / 1000
	}
	var pts []sweep.Point
	for k := range 370 {
		th := sweep.Radians(float64(k))
		pts = append(pts, sweep.Point{T: float64(k) / 30, Angle: th, Reading: read(th, 0.1e-3, 0)},
			sweep.Point{T: float64(k) / 30, Angle: th, Reading: read(th, 0.1e-3, 1), Indicator: 1})
	}
	res, err := Fit(pts, setup)
	if err != nil {
		t.Fatal(err)
	}
	z, ok := p.ZeroOf(res, a, b)
	if !ok || math.Abs(z.MM-0.2) > res.CoverageFactor*z.UMM || z.UMM > 0.001 {
		t.Fatalf("%v: %+v", ok, z)
	}
	held := 0
	for range 200 {
		l := z.Read(p.Difference(read(0, -0.3e-3, 0), read(0, -0.3e-3, 1)))
		if math.Abs(float64(l.Slope)+0.3e-3) <= float64(l.Expanded) {
			held++
		}
		if l.Expanded > 0.03*units.MMPerM {
			t.Fatalf("±%v mm/m", l.Expanded.MMPerM())
		}
	}
	if held < 182 {
		t.Errorf("held the truth in %d of 200", held)
	}
}
