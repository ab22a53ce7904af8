package sweep

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// steadyRun plays constant turning: readings at a rate, marks where asked for.
type steadyRun struct {
	rpm, startS, seconds, rate, noise, wave, drift, speedWander float64
	clockwise                                                   bool
	jitter                                                      float64 // of the marks, s
}

func (s steadyRun) truth(t float64) float64 {
	a := s.rpm / 60 * 2 * math.Pi * (t - s.startS)
	a += s.speedWander * math.Sin(0.21*(t-s.startS))
	if s.clockwise {
		a = -a
	}
	return a
}

func (s steadyRun) points(rng *rand.Rand, marks func(turn int) int) []Point {
	var pts []Point
	p2, p3 := rng.Float64()*7, rng.Float64()*7
	turn := -1
	for i := range int(s.seconds * s.rate) {
		t := s.startS + float64(i)/s.rate
		th := s.truth(t)
		if k := int(math.Floor(math.Abs(th)/(2*math.Pi) + 1e-9)); k > turn {
			turn = k
			at := t // the moment of passing, not that of the next reading
			for k > 0 && math.Abs(s.truth(at)) > 2*math.Pi*float64(k) {
				at -= 1e-4
			}
			for range marks(k) {
				pts = append(pts, Point{T: at + s.jitter*rng.NormFloat64(), Angle: 0.5, Reading: 99})
			}
		}
		z := 0.4 + 120*(0.4e-3*math.Cos(th)-0.25e-3*math.Sin(th)) + s.wave*math.Cos(2*th-p2) +
			s.wave/2*math.Cos(3*th-p3) +
			s.drift*(t-s.startS) + s.noise*rng.NormFloat64()
		pts = append(pts, Point{T: t, Angle: math.NaN(), Reading: math.Round(z*1000) / 1000})
	}
	return pts
}

func steadySetup(o Steady) Setup {
	return Setup{AngleSource: SourceSteady, Steady: &o, Indicators: []Indicator{{RadiusMM: 120, ResolutionMM: 0.001}}}
}

func once(turn int) int { return 1 }

func atStart(turn int) int {
	if turn == 0 {
		return 1
	}
	return 0
}

func TestTheAnglesOfConstantTurning(t *testing.T) {
	base := steadyRun{rpm: 6, startS: 40, seconds: 62, rate: 20, noise: 0.002, wave: 0.004, drift: 0.0001}
	for _, tc := range []struct {
		name  string
		run   func(r steadyRun) steadyRun
		marks func(int) int
		o     Steady
		limit float64 // degrees
		known int     // of a thousand
	}{
		{"by the wave and a start mark", func(r steadyRun) steadyRun { return r }, atStart, Steady{TurnsPerMin: 6.5}, 2,
			1000},
		{"by the wave alone", func(r steadyRun) steadyRun { return r }, func(int) int { return 0 },
			Steady{TurnsPerMin: 5.5}, 2, 1000},
		{"clockwise, by the wave", func(r steadyRun) steadyRun { r.clockwise = true; return r }, atStart,
			Steady{TurnsPerMin: 6, Clockwise: true}, 2, 1000},
		{"by marks", func(r steadyRun) steadyRun { r.jitter = 0.001; return r }, once, Steady{}, 2, 950},
		{"clockwise, by marks", func(r steadyRun) steadyRun { r.clockwise = true; return r }, once,
			Steady{Clockwise: true}, 2, 950},
		{"marks, some missed", func(r steadyRun) steadyRun { return r }, func(k int) int { return int(step(k%3 != 1)) },
			Steady{}, 2, 900},
		{"marks, some doubled", func(r steadyRun) steadyRun { r.jitter = 0.01; return r }, func(k int) int {
			return 1 + k%2
		}, Steady{}, 2.5, 900},
		{"marks, the speed wanders", func(r steadyRun) steadyRun { r.speedWander = 0.15; return r }, once,
			Steady{}, 4, 900},
		{"a true spindle, by marks", func(r steadyRun) steadyRun { r.noise = 0.01; return r }, once, Steady{}, 2, 900},
	} {
		t.Run(tc.name, func(t *testing.T) {
			r := tc.run(base)
			tc.o.MarkDeg = 0
			pts := r.points(rand.New(rand.NewPCG(1, 9)), tc.marks)
			setup := steadySetup(tc.o)
			got, turning, err := Unroll(pts, setup)
			if err != nil || turning == nil {
				t.Fatal(err)
			}
			worst, known := worstError(got, r.truth)
			if worst > Radians(tc.limit) || known*1000 < tc.known*len(got) {
				t.Errorf("worst %.2f deg, %d of %d known; %+v", Degrees(worst), known, len(got), turning)
			}
			if d := math.Abs(turning.Omega - 0.2*math.Pi); d > 0.02 {
				t.Errorf("omega %v", turning.Omega)
			}
			res, err := FitPlain(pts, setup)
			if err != nil || math.Abs(float64(res.Tilt.Slope)-0.4e-3) > 0.01e-3 ||
				math.Abs(float64(res.Nod.Slope)+0.25e-3) > 0.01e-3 {
				t.Errorf("fitted %+v %+v %v", res.Tilt, res.Nod, err)
			}
		})
	}
}

// The stated uncertainty of the angles is held against what they are off by, in the mean over the sweep.
func TestTheStatedUncertaintyOfSteadyAnglesCoversTheTruth(t *testing.T) {
	for _, tc := range []struct {
		name  string
		run   steadyRun
		marks func(int) int
		o     Steady
	}{
		{"wave, white noise", steadyRun{rpm: 6, seconds: 45, rate: 10, noise: 0.005}, atStart, Steady{TurnsPerMin: 6}},
		{"wave, surface and drift", steadyRun{rpm: 6, seconds: 60, rate: 20, noise: 0.003, wave: 0.005, drift: 0.0002},
			atStart, Steady{TurnsPerMin: 6}},
		{"wave, few readings", steadyRun{rpm: 20, seconds: 12, rate: 5, noise: 0.003, wave: 0.002}, atStart,
			Steady{TurnsPerMin: 20}},
		{"marks, the speed wanders", steadyRun{rpm: 6, seconds: 45, rate: 10, noise: 0.003, speedWander: 0.1,
			jitter: 0.002}, once, Steady{}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			hit, n := 0, 200
			for seed := range uint64(n) {
				rng := rand.New(rand.NewPCG(seed, 3))
				r := tc.run
				r.startS = 100 * rng.Float64()
				got, turning, err := Unroll(r.points(rng, tc.marks), steadySetup(tc.o))
				if err != nil {
					t.Fatal(err)
				}
				off, k := 0.0, 0.0
				for _, p := range got {
					if !math.IsNaN(p.Angle) {
						off, k = off+math.Remainder(p.Angle-r.truth(p.T), 2*math.Pi), k+1
					}
				}
				if math.Abs(off/k) <= 2*turning.AngleU {
					hit++
				}
			}
			t.Logf("held %d of %d", hit, n)
			// Two standard uncertainties are to hold 95 of 100; of 200, at least 184 is 95 % sure not to be chance.
			if hit < 184 {
				t.Errorf("two standard uncertainties held the truth %d times of %d", hit, n)
			}
		})
	}
}

func TestWhatIsNotSteadyIsRefused(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	run := steadyRun{rpm: 6, seconds: 40, rate: 20, noise: 0.002}
	flat := run.points(rng, atStart)
	for i := range flat {
		flat[i].Reading = 0.4 + 0.002*rng.NormFloat64()
	}
	noisy := run
	noisy.jitter = 3
	swaying := run
	swaying.speedWander, swaying.seconds = 0.5, 90
	uneven := run
	uneven.speedWander, uneven.seconds = 1.2, 90
	for name, c := range map[string]struct {
		pts  []Point
		o    Steady
		want string
	}{
		"no speed, one mark":       {run.points(rng, atStart), Steady{}, "turns_per_min"},
		"marks for another speed":  {run.points(rng, once), Steady{TurnsPerMin: 12}, "makes 6 turns a minute"},
		"the wrong speed":          {run.points(rng, atStart), Steady{TurnsPerMin: 17}, "no wave"},
		"less than a turn":         {run.points(rng, atStart)[:120], Steady{TurnsPerMin: 6}, "at least 1.5"},
		"a true spindle, no marks": {flat, Steady{TurnsPerMin: 6}, "no wave"},
		"turning by fits":          {uneven.points(rng, once), Steady{}, "even times"},
		"turning unevenly":         {swaying.points(rng, once), Steady{}, "not constant turning"},
		"marks of noise":           {noisy.points(rng, func(int) int { return 3 }), Steady{}, "even times"},
		"marks at one time": {[]Point{{T: 1}, {T: 1}, {T: 2, Angle: math.NaN()}, {T: 3, Angle: math.NaN()},
			{T: 4, Angle: math.NaN()}}, Steady{}, "same time"},
		"not a number": {[]Point{{T: math.NaN(), Angle: math.NaN()}}, Steady{}, "not a number"},
	} {
		_, _, err := Unroll(c.pts, steadySetup(c.o))
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q in it", name, err, c.want)
		}
	}
}

func TestOtherSourcesAndFilesWithAnglesStayAsTheyAre(t *testing.T) {
	pts := []Point{{T: 1, Angle: 0.1}, {T: 2, Angle: 0.2}, {T: 3, Angle: math.NaN()}}
	for _, source := range []string{"", "encoder", SourceSteady} {
		got, turning, err := Unroll(pts, Setup{AngleSource: source})
		if err != nil || turning != nil || len(got) != 3 || got[0] != pts[0] {
			t.Errorf("%q: %v %v %v", source, got, turning, err)
		}
	}
	if got, turning, err := Unroll(nil, steadySetup(Steady{})); len(got) != 0 || turning != nil || err != nil {
		t.Errorf("nothing: %v %v %v", got, turning, err)
	}
}

func FuzzUnroll(f *testing.F) {
	f.Add(uint64(1), 50, 6.0, true)
	f.Fuzz(func(t *testing.T, seed uint64, n int, rpm float64, marked bool) {
		if n < 0 || n > 400 {
			return
		}
		rng := rand.New(rand.NewPCG(seed, 2))
		var pts []Point
		for range n {
			p := Point{T: rng.Float64() * 60, Angle: math.NaN(), Reading: rng.NormFloat64()}
			if marked && rng.IntN(8) == 0 {
				p.Angle = 0
			}
			pts = append(pts, p)
		}
		out, turning, err := Unroll(pts, steadySetup(Steady{TurnsPerMin: rpm}))
		if err == nil && turning != nil && (math.IsNaN(turning.AngleU) || !(turning.Omega > 0)) {
			t.Errorf("%d points, %+v", len(out), turning)
		}
	})
}

// wheel plays magnets that were glued on by hand: where each sits, as a share of the turn. pulses gives those that
// came.
func (s steadyRun) wheel(o Steady, at []float64, lost func(turn, which int) bool) (pts []Point) {
	defer func() {
		for i := range pts {
			if i > 0 && !o.Marked { // nothing tells it from the others
				pts[i].Angle = o.PulseAngle(false)
			}
		}
	}()
	until := s.startS + s.seconds
	for turn := -1; turn < 1000; turn++ {
		for which, share := range at {
			want := 2 * math.Pi * (float64(turn) + share)
			low, high := s.startS-20, until+20
			for range 60 {
				if mid := (low + high) / 2; math.Abs(s.truth(mid)) < want && mid > s.startS ||
					mid <= s.startS && want > 0 {
					low = mid
				} else {
					high = mid
				}
			}
			if want == 0 {
				low = s.startS
			}
			if want < 0 || low > until {
				continue
			}
			if !lost(turn, which) {
				pts = append(pts, Point{T: low, Angle: o.PulseAngle(which == 0), Reading: 99})
			}
		}
	}
	return pts
}

func TestAWheelWithSeveralMagnets(t *testing.T) {
	none := func(int, int) bool { return false }
	four := []float64{0, 0.27, 0.49, 0.74}
	for name, tc := range map[string]struct {
		at     []float64
		o      Steady
		lost   func(turn, which int) bool
		limit  float64 // degrees
		missed int
		refuse string
	}{
		"even": {[]float64{0, 0.25, 0.5, 0.75}, Steady{Pulses: 4, Marked: true}, none,
			0.3, 0, ""},
		"uneven":                  {four, Steady{Pulses: 4, Marked: true}, none, 0.3, 0, ""},
		"uneven, the first is it": {four, Steady{Pulses: 4, TurnsPerMin: 6}, none, 0.3, 0, ""},
		"one is missed": {four, Steady{Pulses: 4, Marked: true}, func(turn, which int) bool {
			return turn == 2 && which == 2
		}, 0.3, 1, ""},
		"a start mark is missed": {four, Steady{Pulses: 4, Marked: true}, func(turn, which int) bool {
			return turn == 2 && which == 0
		}, 0.3, 1, ""},
		"two are always weak": {four, Steady{Pulses: 4, Marked: true}, func(turn, which int) bool {
			return which == 3 && turn%2 == 0
		}, 0.4, 3, ""},
		"two magnets": {[]float64{0, 0.46}, Steady{Pulses: 2, Marked: true}, none, 0.3, 0, ""},
		"three, but four are said": {[]float64{0, 0.33, 0.66}, Steady{Pulses: 4, Marked: true}, none, 0, 0,
			"no multiple of pulses_per_turn"},
		"five, but four are said": {[]float64{0, 0.2, 0.4, 0.6, 0.8}, Steady{Pulses: 4, TurnsPerMin: 6}, none, 0, 0,
			"pulses_per_turn wrong"},
		"no start mark ever came": {four, Steady{Pulses: 4, Marked: true}, func(_, which int) bool {
			return which == 0
		}, 0, 0, "none of"},
		"far from even": {[]float64{0, 0.05, 0.5, 0.6}, Steady{Pulses: 4, Marked: true}, none, 0, 0,
			"even times"},
		"clockwise, with the wander": {four, Steady{Pulses: 4, Marked: true, Clockwise: true}, none, 1.5, 0, ""},
	} {
		t.Run(name, func(t *testing.T) {
			r := steadyRun{rpm: 6, startS: 40, seconds: 62, rate: 20, noise: 0.002, wave: 0.004,
				clockwise: tc.o.Clockwise}
			if tc.limit > 1 {
				r.speedWander = 0.1
			}
			rng := rand.New(rand.NewPCG(2, 9))
			readings := r.points(rng, func(int) int { return 0 })
			pts := append(readings, r.wheel(tc.o, tc.at, tc.lost)...)
			got, turning, err := Unroll(pts, steadySetup(tc.o))
			if tc.refuse != "" {
				if err == nil || !strings.Contains(err.Error(), tc.refuse) {
					t.Fatalf("%v, want %q", err, tc.refuse)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			worst, known := worstError(got, r.truth)
			if worst > Radians(tc.limit) || known*100 < 88*len(got) || turning.Missed != tc.missed {
				t.Errorf("worst %.2f deg (limit %v), %d of %d known; %+v", Degrees(worst), tc.limit, known,
					len(got), turning)
			}
		})
	}
}
