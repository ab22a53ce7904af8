package session

import (
	"bufio"
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"runtime"
	"slices"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"tramd/device"
	"tramd/device/devicetest"
	"tramd/sweep"
	"tramd/sweep/units"
)

// instrumentsEnv makes this test binary the instruments: "READINGS RATE". They are a process of their own so that the
// processor time of the reader stands alone.
const instrumentsEnv = "SESSION_BENCH_INSTRUMENTS"

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

// instruments sends readings into descriptor 3, whose value in micrometres is their number, and counts of the encoder into
// descriptor 4, then tells on standard output when the last byte of each reading was written, and the 99th percentile of how
// late it was itself. The two keep no step with
// each other or with any timer: each line is due at a random place within its period, and the last stretch is spun.
func instruments() error {
	var n, rate int
	if _, err := fmt.Sscan(os.Getenv(instrumentsEnv), &n, &rate); err != nil {
		return err
	}
	arm, encoder := os.NewFile(3, "arm"), os.NewFile(4, "encoder")
	gap := int64(time.Second) / int64(rate)
	rnd := rand.New(rand.NewPCG(1, 2))
	start := monotonic()
	due := func(i int) int64 { return start + int64(i)*gap + rnd.Int64N(gap) }
	sent := make([]int64, n)
	late := make([]int64, 0, 2*n) // how far behind its own plan this process wrote each line
	nextReading, nextCount := due(0), due(0)
	var line []byte
	for i, k := 0, 0; i < n; {
		next := min(nextReading, nextCount)
		if ahead := time.Duration(next - monotonic()); ahead > 2*time.Millisecond {
			time.Sleep(ahead - 2*time.Millisecond)
		}
		for monotonic() < next {
			runtime.Gosched()
		}
		if next == nextCount {
			at := float64(monotonic()-start) / 1e9
			line = fmt.Appendf(line[:0], "%d\r\n", int64(math.Round(at*benchCounts/benchTurnS)))
			if _, err := encoder.Write(line); err != nil {
				return err
			}
			late = append(late, monotonic()-next)
			k++
			nextCount = due(k)
			continue
		}
		line = fmt.Appendf(line[:0], "%+09.3f\r\n", float64(i)/1000)
		if _, err := arm.Write(line); err != nil {
			return err
		}
		sent[i] = monotonic()
		late = append(late, sent[i]-next)
		i++
		nextReading = due(i)
	}
	slices.Sort(late)
	return binary.Write(os.Stdout, binary.LittleEndian, append(sent, late[len(late)*99/100]))
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
func benchSession(b *testing.B, ports []Port, patience func(time.Duration)) (*Session, *shelf) {
	sh := &shelf{}
	s, err := New(Options{
		Setup:      sweep.Setup{Machine: "linnet", Indicators: []sweep.Indicator{{Name: "arm", RadiusMM: 120, ResolutionMM: 0.001}}},
		Indicators: []IndicatorRoute{{Device: 0}},
		Angle:      AngleRoute{Device: 1, Encoder: sweep.EncoderOptions{CountsPerTurn: benchCounts}},
		Ports:      ports, Archive: sh, Fit: sweep.FitPlain, Patience: patience,
	})
	if err != nil {
		b.Fatal(err)
	}
	return s, sh
}

// BenchmarkPublished measures a sweep over two real lines, from the last byte of a reading written to the lean published
// that rests on it, and what a reading costs. A reading waits for the encoder's next count, which is in these figures.
func BenchmarkPublished(b *testing.B) {
	for b.Loop() {
		benchPublished(b, 1000, 5)
	}
}

func benchPublished(b *testing.B, rate, seconds int) {
	lines := []*devicetest.Line{devicetest.Open(b), devicetest.Open(b)}
	var s *Session
	var ports []Port
	var devices []*device.Device
	for i, spec := range []device.Spec{
		{Name: "arm", Role: device.RoleIndicator, Port: lines[0].Path, Baud: 921600},
		{Name: "encoder", Role: device.RoleAngle, Port: lines[1].Path, Baud: 921600, CountsPerTurn: benchCounts},
	} {
		d, err := device.New(i, spec, func(x device.Batch) { s.Sink(x) }, nil)
		if err != nil {
			b.Fatal(err)
		}
		devices = append(devices, d)
		ports = append(ports, Port{Name: spec.Name, Path: spec.Port, Status: d.Status})
	}
	s, sh := benchSession(b, ports, func(wait time.Duration) {
		for _, d := range devices {
			d.SetPatience(wait)
		}
	})
	n := rate * seconds
	seen := make([]int64, 0, 2*n) // when each point was first published
	s.onPublish = func(p *Published) {
		for now := monotonic(); len(seen) < p.Readings; {
			seen = append(seen, now)
		}
	}
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan struct{}, 3)
	go func() { _ = s.Run(ctx); ended <- struct{}{} }()
	for _, d := range devices {
		go func() { _ = d.Run(ctx); ended <- struct{}{} }() // its errors are in Status
	}
	for i, d := range devices {
		until(b, func() bool { return d.Status().State == device.StateSettling })
		lines[i].Write([]byte("first\r\n0\r\n")) // the first is dropped; the second says that all is open
		until(b, func() bool { return d.Status().State == device.StateLive })
	}
	if _, err := s.Start(ctx, MaxTurns, "check"); err != nil {
		b.Fatal(err)
	}

	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), fmt.Sprintf("%s=%d %d", instrumentsEnv, n, rate))
	cmd.ExtraFiles = []*os.File{lines[0].Far(), lines[1].Far()}
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		b.Fatal(err)
	}
	before := cpu(b)
	if err := cmd.Start(); err != nil {
		b.Fatal(err)
	}
	sent := make([]int64, n+1)
	err = binary.Read(bufio.NewReader(out), binary.LittleEndian, sent)
	used := cpu(b) - before
	if e := cmd.Wait(); err != nil || e != nil {
		b.Fatalf("instruments: %v, %v", err, e)
	}
	time.Sleep(100 * time.Millisecond)
	stop() // the run ends as abandoned, all its points on the shelf
	for range 3 {
		<-ended
	}

	var late []int64
	got := make([]bool, n)
	for k, at := range seen {
		i := int(math.Round(sh.points[k].Reading * 1000))
		late = append(late, at-sent[i])
		got[i] = true
	}
	if len(late) == 0 {
		b.Fatal("nothing was published")
	}
	// The first readings show that the arm moves; the last have no count of the encoder after them.
	first, lost := slices.Index(got, true), 0
	for _, ok := range got[first : n-20] {
		if !ok {
			lost++
		}
	}
	if lost > 0 || first > n/5 {
		b.Errorf("%d readings of %d were lost, the first published was number %d", lost, n, first)
	}
	slices.Sort(late)
	b.ReportMetric(float64(late[len(late)/2])/1e3, "median-µs")
	b.ReportMetric(float64(late[len(late)*99/100])/1e3, "p99-µs")
	b.ReportMetric(float64(sent[n])/1e3, "instruments-late-p99-µs") // above the reader's own, the machine was too busy to tell
	b.ReportMetric(float64(used.Nanoseconds())/float64(n)/1e3, "cpu-µs/reading")
	b.ReportMetric(100*used.Seconds()/float64(seconds), "cpu-%")
	b.ReportMetric(float64(lost), "lost")
}

func until(b *testing.B, ok func() bool) {
	b.Helper()
	for range 1000 {
		if ok() {
			return
		}
		time.Sleep(5 * time.Millisecond)
	}
	b.Fatal("a device did not come to life within 5 s")
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
		s, _ := benchSession(b, []Port{{Name: "arm", Status: live}, {Name: "encoder", Status: live}}, nil)
		j, err := newJob(s, 1, MaxTurns, time.Now())
		if err != nil {
			b.Fatal(err)
		}
		s.job = j
		reading := []device.Sample{{Kind: device.Length}}
		count := []device.Sample{{Kind: device.Count}}
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
