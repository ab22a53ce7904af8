package session

import (
	"fmt"
	"math"
	"os"
	"runtime"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"tramd/device"
	"tramd/device/frame"
	"tramd/sweep"
	"tramd/sweep/units"
)

func TestMain(m *testing.M) {
	if os.Getenv(instrumentsEnv) != "" {
		if err := instruments(); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// benchCounts is the encoder's counts in a turn; the arm takes benchTurnS seconds for one.
const (
	benchCounts = 4096
	benchTurnS  = 4
)

// monotonic reads the clock that all processes share, in nanoseconds.
func monotonic() int64 {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_MONOTONIC, &ts); err != nil {
		panic(err) // a test binary on Linux
	}
	return ts.Nano()
}

// cpu gives the processor time of this process so far.
func cpu(b *testing.B) time.Duration {
	var u unix.Rusage
	if err := unix.Getrusage(unix.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// benchSession is a session as newRig's, whose ports are the devices given.
func benchSession(b *testing.B, ports []Port) (*Session, *shelf) {
	sh := &shelf{}
	s, err := New(benchOptions(ports, sh))
	if err != nil {
		b.Fatal(err)
	}
	return s, sh
}

// benchOptions are those of an arm with one indicator and an encoder.
func benchOptions(ports []Port, sh *shelf) Options {
	return Options{
		Setup: sweep.Setup{Machine: "linnet",
			Indicators: []sweep.Indicator{{Name: "arm", RadiusMM: 120, ResolutionMM: 0.001}}},
		Indicators: []IndicatorRoute{{Device: 0}},
		Angle:      AngleRoute{Device: 1, Encoder: sweep.EncoderOptions{CountsPerTurn: benchCounts}},
		Ports:      ports, Archive: sh, Fit: sweep.FitPlain,
	}
}

// threadCPU gives the processor time of this thread so far, in nanoseconds.
func threadCPU(b *testing.B) int64 {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_THREAD_CPUTIME_ID, &ts); err != nil {
		b.Fatal(err)
	}
	return ts.Nano()
}

// BenchmarkLongSweep takes a sweep of a million readings, without ports, and compares what a reading costs at the
// beginning and at the end of it, publishing included.
func BenchmarkLongSweep(b *testing.B) {
	const total, part = 1_000_000, 100_000
	// Another program on the machine makes a reading late too; the processor time of this thread tells what is ours.
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	live := func() device.Status { return device.Status{State: device.StateLive} }
	for b.Loop() {
		s, _ := benchSession(b, []Port{{Name: "arm", Status: live}, {Name: "encoder", Status: live}})
		j, err := newJob(s, 1, sweep.MaxTurns, time.Now())
		if err != nil {
			b.Fatal(err)
		}
		s.job = j
		reading := []device.Sample{{Kind: frame.Length}}
		count := []device.Sample{{Kind: frame.Count}}
		var took [total / part]time.Duration
		var longest time.Duration
		var dearest int64
		for p := range took {
			began := time.Now()
			last, spent := began, threadCPU(b)
			for i := p * part; i < (p+1)*part; i++ {
				at := device.Stamp(i+1) * device.Stamp(time.Millisecond)
				z, _ := units.FromMM(0.05 * math.Cos(float64(i)*2*math.Pi/4096))
				reading[0].At, reading[0].Value = at, int64(z)
				count[0].At, count[0].Value = at, int64(i)
				s.Sink(device.Batch{Device: 0, Samples: reading})
				s.Sink(device.Batch{Device: 1, Samples: count})
				if i%100 == 99 {
					now := time.Now()
					longest = max(longest, now.Sub(last))
					last = now
					cpu := threadCPU(b)
					dearest = max(dearest, cpu-spent)
					spent = cpu
				}
			}
			took[p] = time.Since(began)
		}
		if n := j.points.n; n < total-1000 {
			b.Fatalf("%d points of %d", n, total)
		}
		b.ReportMetric(float64(took[0].Nanoseconds())/part, "first-ns/reading")
		b.ReportMetric(float64(took[len(took)-1].Nanoseconds())/part, "last-ns/reading")
		b.ReportMetric(float64(dearest)/1e6, "dearest-cpu-ms/100-readings")
		b.ReportMetric(float64(longest.Microseconds())/1000, "longest-ms/100-readings")
	}
}

// BenchmarkKeep compares the list of points with a slice that grows, over a million points: what a point costs, and the
// dearest hundred of them.
func BenchmarkKeep(b *testing.B) {
	const total = 1_000_000
	var list points
	var slice []sweep.Point
	for _, tc := range []struct {
		name string
		keep func(sweep.Point)
		free func()
	}{
		{"list", func(p sweep.Point) { list.add(p) }, func() { list = points{} }},
		{"slice", func(p sweep.Point) { slice = append(slice, p) }, func() { slice = nil }},
	} {
		b.Run(tc.name, func(b *testing.B) {
			runtime.LockOSThread()
			defer runtime.UnlockOSThread()
			var dearest, all int64
			for b.Loop() {
				began := threadCPU(b)
				last := began
				for i := range total {
					tc.keep(sweep.Point{T: float64(i)})
					if i%100 == 99 {
						now := threadCPU(b)
						dearest = max(dearest, now-last)
						last = now
					}
				}
				all += last - began
				tc.free()
			}
			b.ReportMetric(float64(all)/float64(b.N)/total, "cpu-ns/point")
			b.ReportMetric(float64(dearest)/1e6, "dearest-cpu-ms/100-points")
		})
	}
}
