package sweep

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// agree holds the running sums against the QR solution.
func agree(t *testing.T, live, plain Result) {
	t.Helper()
	rel := func(what string, got, want float64) {
		t.Helper()
		if math.IsNaN(got) && math.IsNaN(want) || got == want {
			return
		}
		if !(math.Abs(got-want) <= 1e-9*math.Abs(want)) {
			t.Errorf("%s: live %v, final %v", what, got, want)
		}
	}
	rel("tilt", float64(live.Tilt.Slope), float64(plain.Tilt.Slope))
	rel("nod", float64(live.Nod.Slope), float64(plain.Nod.Slope))
	rel("u(tilt)", float64(live.Tilt.U), float64(plain.Tilt.U))
	rel("u(nod)", float64(live.Nod.U), float64(plain.Nod.U))
	rel("rms", live.ResidualRMSMM, plain.ResidualRMSMM)
	rel("dof", live.DoF, plain.DoF)
	rel("coverage", live.Coverage, plain.Coverage)
	for i := range plain.OffsetMM {
		rel("offset", live.OffsetMM[i], plain.OffsetMM[i])
	}
	if math.Abs(live.ClosureMM-plain.ClosureMM) > 1e-12 || math.Abs(live.FormPVMM-plain.FormPVMM) > 1e-12 {
		t.Errorf("closure %v and %v, form %v and %v", live.ClosureMM, plain.ClosureMM, live.FormPVMM, plain.FormPVMM)
	}
	if live.Readings != plain.Readings || live.Rejected != plain.Rejected || codes(live) != codes(plain) {
		t.Errorf("%d and %d readings, %d and %d rejected, %q and %q",
			live.Readings, plain.Readings, live.Rejected, plain.Rejected, codes(live), codes(plain))
	}
}

func TestLiveAgreesWithPlain(t *testing.T) {
	setup := oneArm()
	setup.Indicators = append(setup.Indicators,
		Indicator{Name: "coarse", RadiusMM: 75, PhaseDeg: 163, ResolutionMM: 0.01, MPEMM: 0.02, RadiusUMM: 0.5})
	setup.Indicators[0].ResolutionMM = 0.001
	for _, c := range []struct {
		name   string
		n      int
		offset float64
		turns  float64
	}{
		{"short", 30, 0, 1},
		{"an arc", 500, 10, 0.4},
		{"a million readings far from zero", 1_000_000, 10, 40},
	} {
		t.Run(c.name, func(t *testing.T) {
			live, err := NewLive(setup)
			if err != nil {
				t.Fatal(err)
			}
			plain, err := NewPlain(setup)
			if err != nil {
				t.Fatal(err)
			}
			rng := rand.New(rand.NewPCG(7, uint64(c.n)))
			for k := range c.n {
				i := k & 1
				p := Point{T: float64(k) / 1000, Angle: 2 * math.Pi * c.turns * float64(k) / float64(c.n), Indicator: i}
				ind := setup.Indicators[i]
				s, co := math.Sincos(p.Angle + Radians(ind.PhaseDeg))
				p.Reading = c.offset + ind.RadiusMM*(0.3e-3*co-0.2e-3*s) + 0.002*rng.NormFloat64()
				if k%17 == 0 {
					p.Angle = math.NaN()
				}
				live.Add(p)
				if err := plain.Add(p); err != nil {
					t.Fatal(err)
				}
				if k%max(1, c.n/60) == 0 {
					_, err := live.Result()
					if why := live.Ready(); fmt.Sprint(why) != fmt.Sprint(err) {
						t.Fatalf("after %d readings it is ready but for %v, and fitted but for %v", k+1, why, err)
					}
				}
			}
			a, err := live.Result()
			if err != nil {
				t.Fatal(err)
			}
			b, err := plain.Result()
			if err != nil {
				t.Fatal(err)
			}
			agree(t, a, b)
		})
	}
}

func TestLiveShowsWhereItIs(t *testing.T) {
	l, err := NewLive(oneArm())
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range circle(1e-3, 0, 2, 120, 0, 0.4, 90, 182, 359.9) {
		l.Add(p)
	}
	l.Add(Point{Reading: math.Inf(1)})
	want := "1" + strings.Repeat("0", 17) + "1" + strings.Repeat("0", 17) + "1" + strings.Repeat("0", 34) + "1"
	if got := l.Sectors(); got != want {
		t.Errorf("sectors\n%s, want\n%s", got, want)
	}
	curve := l.Curve()
	if len(curve) != 4 || l.Readings() != 5 {
		t.Fatalf("curve %v of %d readings", curve, l.Readings())
	}
	near(t, "first angle", curve[0].Deg, 0.2, 1e-9)
	near(t, "first mean", curve[0].MM, 2.12, 1e-5)
	near(t, "mean at 90", curve[1].MM, 2, 1e-12)
}

func TestLiveAddAllocatesNothing(t *testing.T) {
	l, err := NewLive(oneArm())
	if err != nil {
		t.Fatal(err)
	}
	k := 0
	if n := testing.AllocsPerRun(1000, func() {
		l.Add(Point{Angle: float64(k), Reading: 0.001})
		k++
	}); n != 0 {
		t.Errorf("%v allocations a reading", n)
	}
}

// The cost of a reading must not grow: the same number of readings, after none and after a million.
func BenchmarkLiveAdd(b *testing.B) {
	for _, c := range []struct {
		name   string
		before int
	}{{"after=0", 0}, {"after=1000000", 1_000_000}} {
		b.Run(c.name, func(b *testing.B) {
			l, err := NewLive(oneArm())
			if err != nil {
				b.Fatal(err)
			}
			add := func(k int) { l.Add(Point{Angle: float64(k) * 0.01, Reading: float64(k&7) * 0.001}) }
			for k := range c.before {
				add(k)
			}
			b.ReportAllocs()
			for k := 0; b.Loop(); k++ {
				add(k)
			}
		})
	}
}

// BenchmarkLiveResult takes one more reading before each result, as a live sweep does.
func BenchmarkLiveResult(b *testing.B) {
	l, err := NewLive(oneArm())
	if err != nil {
		b.Fatal(err)
	}
	for k := range 10_000 {
		l.Add(Point{Angle: float64(k) * 0.01, Reading: float64(k&7) * 0.001})
	}
	for k := 0; b.Loop(); k++ {
		l.Add(Point{Angle: float64(k) * 0.01, Reading: float64(k&7) * 0.001})
		if _, err := l.Result(); err != nil {
			b.Fatal(err)
		}
	}
}

func TestSlopesAreThoseOfTheResult(t *testing.T) {
	live, err := NewLive(Setup{Indicators: []Indicator{{RadiusMM: 120, ResolutionMM: 0.001},
		{RadiusMM: 80, PhaseDeg: 180, ResolutionMM: 0.01}}})
	if err != nil {
		t.Fatal(err)
	}
	if _, _, ok := live.Slopes(); ok {
		t.Error("a lean from nothing")
	}
	for i := range 400 {
		a := float64(i) * 0.03
		live.Add(Point{T: a, Angle: a, Reading: 7 + 0.05*math.Cos(a) - 0.02*math.Sin(a) + 1e-3*math.Sin(9*a),
			Indicator: i % 2})
	}
	r, err := live.Result()
	if err != nil {
		t.Fatal(err)
	}
	tilt, nod, ok := live.Slopes()
	if !ok || tilt != r.Tilt.Slope || nod != r.Nod.Slope {
		t.Errorf("slopes %v %v, result %v %v", tilt, nod, r.Tilt.Slope, r.Nod.Slope)
	}
	if n := testing.AllocsPerRun(100, func() { live.Slopes() }); n != 0 {
		t.Errorf("%v allocations", n)
	}
}
