package mixed

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"tramd/sweep"
	"tramd/sweep/units"
)

// cpu gives the processor time of this process so far: on a busy machine it tells more than the clock.
func cpu(b *testing.B) time.Duration {
	var u unix.Rusage
	if err := unix.Getrusage(unix.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// BenchmarkFit shows the cost by number of readings (a reading costs less the more there are), beside the plain fit of
// the same sweep.
func BenchmarkFit(b *testing.B) {
	for _, n := range []int{12, 200, 2000, 20_000, 200_000, 1_000_000} {
		draw := func() trial { // by the benchmark that needs it, or what others drew would be cleared away in its time
			r := rand.New(rand.NewPCG(1, uint64(n)))
			if n == 12 {
				return scene{stations: 12, white: 0.001, form: 0.001, fall: 1.5}.draw(r)
			}
			turns := math.Max(1, float64(n)/5000)
			return scene{
				n: n, turns: turns, seconds: 20 * turns, white: 0.001, slow: 0.001, tau: 1, form: 0.002, fall: 1.5,
				slots: 3, slotDeg: 8, slotMM: 1,
			}.draw(r)
		}
		b.Run(fmt.Sprintf("full/%d", n), func(b *testing.B) {
			t := draw()
			used := cpu(b)
			for b.Loop() {
				if _, err := Fit(t.pts, t.setup); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(cpu(b)-used)/float64(b.N), "cpu-ns/op")
			b.ReportMetric(float64(cpu(b)-used)/float64(b.N)/float64(n), "cpu-ns/reading")
		})
		b.Run(fmt.Sprintf("plain/%d", n), func(b *testing.B) {
			t := draw()
			used := cpu(b)
			for b.Loop() {
				if _, err := sweep.FitPlain(t.pts, t.setup); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(cpu(b)-used)/float64(b.N), "cpu-ns/op")
		})
	}
}

// BenchmarkFilter shows what a look at a sweep costs that a filter carries on, beside a fit of all of it, and what a
// reading costs.
func BenchmarkFilter(b *testing.B) {
	for _, n := range []int{2000, 20_000} {
		turns := math.Max(1, float64(n)/5000)
		s := scene{n: n, turns: turns, seconds: 20 * turns, white: 0.001, slow: 0.001, tau: 1, form: 0.002, fall: 1.5,
			slots: 3, slotDeg: 8, slotMM: 1}
		t := s.draw(rand.New(rand.NewPCG(1, uint64(n))))
		t.setup.Tolerance, _ = units.ParseTolerance("0.02/300")
		f, _, err := Begin(t.pts[:n*3/4], t.setup, Options{})
		if err != nil {
			b.Fatal(err)
		}
		b.Run(fmt.Sprintf("look/%d", n), func(b *testing.B) {
			rest := t.pts[n*3/4:]
			used := cpu(b)
			for i := 0; b.Loop(); i++ {
				p := rest[i%len(rest)]
				f.Add(p)
				f.Result()
			}
			b.ReportMetric(float64(cpu(b)-used)/float64(b.N), "cpu-ns/op")
		})
		b.Run(fmt.Sprintf("reading/%d", n), func(b *testing.B) {
			rest := t.pts[n*3/4:]
			used := cpu(b)
			for i := 0; b.Loop(); i++ {
				f.Add(rest[i%len(rest)])
			}
			b.ReportMetric(float64(cpu(b)-used)/float64(b.N), "cpu-ns/op")
		})
	}
}
