package store

import (
	"math"
	"math/rand/v2"
	"path/filepath"
	"testing"
	"time"

	"tramd/sweep"
	"tramd/sweep/units"
)

func open(tb testing.TB, path string) *Store {
	tb.Helper()
	s, err := Open(tb.Context(), path, Options{BootID: "boot-1", busyTimeout: 200 * time.Millisecond})
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() { _ = s.Close() })
	return s
}

func fresh(tb testing.TB) *Store { return open(tb, filepath.Join(tb.TempDir(), "linnet.db")) }

func setupOf(tb testing.TB, tolerance string) sweep.Setup {
	tb.Helper()
	tol, err := units.ParseTolerance(tolerance)
	if err != nil {
		tb.Fatal(err)
	}
	return sweep.Setup{
		Machine:     "linnet",
		Indicators:  []sweep.Indicator{{Name: "arm", RadiusMM: 120, RadiusUMM: 0.5, ResolutionMM: 0.001}},
		Tolerance:   tol,
		AngleSource: "encoder",
		Surface:     "bed",
	}
}

func begin(tb testing.TB, s *Store) int64 {
	tb.Helper()
	id, err := s.BeginRun(tb.Context(), NewRun{
		Kind: "sweep", Purpose: "check", Setup: setupOf(tb, "0.02/300"), StartedAt: day, BootTime: 90 * time.Second,
		ClockSet: true,
	})
	if err != nil {
		tb.Fatal(err)
	}
	return id
}

var day = time.Date(2026, 3, 2, 7, 30, 0, 123456000, time.UTC)

// handTurned is a sweep as a hand makes it: about 30 degrees a second and never even, a 4096-count encoder whose lines
// come 1,000 times a second and are interpolated in time, an indicator that shows whole micrometres with noise of 3 µm,
// and stamps that wander by a tenth of a millisecond.
func handTurned(rng *rand.Rand, n int) []sweep.Point {
	const counts = 4096
	speed := func(t float64) float64 {
		return 30 + 8*math.Sin(2*math.Pi*0.7*t) + 4*math.Sin(2*math.Pi*1.9*t+1)
	}
	line := make([]float64, n+2) // degrees at each millisecond, in whole counts
	deg := 0.0
	for i := range line {
		deg += speed(float64(i)/1000) / 1000
		line[i] = math.Floor(deg*counts/360) * 360 / counts
	}
	pts := make([]sweep.Point, n)
	for i := range pts {
		ms := math.Max(float64(i)+0.4+0.1*rng.NormFloat64(), 0)
		k := min(int(ms), n)
		at := line[k] + (line[k+1]-line[k])*(ms-float64(k))
		th := sweep.Radians(at)
		mm := 0.35 + 120*(0.00018*math.Cos(th)-0.00011*math.Sin(th)) + 0.002*math.Cos(2*th) + 0.003*rng.NormFloat64()
		pts[i] = sweep.Point{T: ms / 1000, Angle: th, Reading: math.Round(mm*1000) / 1000}
	}
	return pts
}

// samePoint says whether a point came back as it was stored: within half a step of each column.
func samePoint(got, want sweep.Point) bool {
	angle := math.IsNaN(got.Angle) && math.IsNaN(want.Angle) ||
		math.Abs(got.Angle-want.Angle)*180/math.Pi <= 0.51e-4+1e-15*math.Abs(want.Angle)*180/math.Pi
	return math.Abs(got.T-want.T) <= 0.51e-6 && angle && math.Abs(got.Reading-want.Reading) <= 0.51e-6 &&
		got.Indicator == want.Indicator
}

func samePoints(tb testing.TB, got, want []sweep.Point) {
	tb.Helper()
	if len(got) != len(want) {
		tb.Fatalf("got %d readings, want %d", len(got), len(want))
	}
	for i := range got {
		if !samePoint(got[i], want[i]) {
			tb.Fatalf("reading %d: got %+v, want %+v", i, got[i], want[i])
		}
	}
}
