package device

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"runtime"
	"slices"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"tramd/device/devicetest"
)

func benchmarkFramer(b *testing.B, f Framer, lines string, n int) {
	in := []byte(lines)
	dst := make([]Sample, 0, n)
	b.ReportAllocs()
	b.SetBytes(int64(len(in)))
	for b.Loop() {
		if got := f.Feed(dst, in, 1); len(got) != n {
			b.Fatalf("%d readings, want %d", len(got), n)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*n), "ns/reading")
}

func BenchmarkTextFramer(b *testing.B) {
	b.Run("bare", func(b *testing.B) { benchmarkFramer(b, NewTextFramer(), "-0.0125\r\n+0.0130\r\n", 2) })
	b.Run("named", func(b *testing.B) {
		benchmarkFramer(b, NewTextFramer(), "arm: -0.0125 mm\r\nlow: 0,00005 in\r\n", 2)
	})
}

func BenchmarkEncoderFramer(b *testing.B) {
	benchmarkFramer(b, NewEncoderFramer(4096), "-102400\n359.95 deg\n", 2)
}

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

// writerEnv makes this test binary the instrument: "COUNT RATE".
const writerEnv = "DEVICE_TEST_WRITER"

// writerMain sends readings into descriptor 3, whose value in micrometres is their number, then tells on standard
// output when each was sent. It is a process of its own so that the processor time of the reader stands alone.
func writerMain() int {
	var n, rate int
	if _, err := fmt.Sscan(os.Getenv(writerEnv), &n, &rate); err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 2
	}
	far := os.NewFile(3, "line")
	sent := make([]int64, n)
	// Timers of two processes may tick together, which flatters a reader that sleeps: each reading is due at a random
	// place within its period, and the last stretch is spun, not slept.
	gap := int64(time.Second) / int64(rate)
	rnd := rand.New(rand.NewPCG(1, 2))
	start := monotonic()
	var err error
	var frame []byte
	for i := 0; i < n && err == nil; i++ {
		due := start + int64(i)*gap + rnd.Int64N(gap)
		if ahead := time.Duration(due - monotonic()); ahead > 2*time.Millisecond {
			time.Sleep(ahead - 2*time.Millisecond)
		}
		for monotonic() < due {
			runtime.Gosched()
		}
		frame = fmt.Appendf(frame[:0], "%+09.3f\r\n", float64(i)/1000)
		sent[i] = monotonic()
		_, err = far.Write(frame)
	}
	if err == nil {
		err = binary.Write(os.Stdout, binary.LittleEndian, sent)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	return 0
}

// instrument runs the writer to its end.
func instrument(b *testing.B, l *devicetest.Line, n, rate int) []int64 {
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), fmt.Sprintf("%s=%d %d", writerEnv, n, rate))
	cmd.ExtraFiles = []*os.File{l.Far()}
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		b.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		b.Fatal(err)
	}
	sent := make([]int64, n)
	err = binary.Read(bufio.NewReader(out), binary.LittleEndian, sent)
	if werr := cmd.Wait(); err != nil || werr != nil {
		b.Fatalf("writer: %v, %v", err, werr)
	}
	return sent
}

const benchSeconds = 3

// report writes what matters about one stream: got and sent hold when each reading arrived and was sent.
func report(b *testing.B, sent, got []int64, used time.Duration, wakes int) {
	lost := 0
	late := make([]int64, 0, len(got))
	for i, at := range got {
		if at == 0 {
			lost++
			continue
		}
		late = append(late, at-sent[i])
	}
	if lost > 0 {
		b.Errorf("%d readings of %d were lost", lost, len(got))
	}
	slices.Sort(late)
	n := len(late)
	b.ReportMetric(float64(late[n/2])/1e3, "median-µs")
	b.ReportMetric(float64(late[n*99/100])/1e3, "p99-µs")
	b.ReportMetric(float64(used.Nanoseconds())/float64(n), "cpu-ns/reading")
	b.ReportMetric(100*used.Seconds()/benchSeconds, "cpu-%")
	b.ReportMetric(float64(wakes)/benchSeconds, "reads/s")
	b.ReportMetric(float64(lost), "lost")
}

// BenchmarkPty measures a device from the byte written to the sink called: with and without patience.
func BenchmarkPty(b *testing.B) {
	for _, tc := range []struct {
		rate     int
		patience time.Duration
	}{{100, 0}, {1000, 0}, {1000, 5 * time.Millisecond}, {7000, 0}} {
		rate := tc.rate
		b.Run(fmt.Sprintf("%d_per_s_patience_%v", rate, tc.patience), func(b *testing.B) {
			for b.Loop() {
				n := benchSeconds * rate
				l := devicetest.Open(b)
				got := make([]int64, n)
				wakes := 0
				d, err := New(0, Spec{Name: "arm", Role: RoleIndicator, Port: l.Path, Baud: 921600}, func(batch Batch) {
					now := monotonic()
					wakes++
					for _, s := range batch.Samples {
						if i := s.Value / 1000; i < int64(n) {
							got[i] = now
						}
					}
				}, nil)
				if err != nil {
					b.Fatal(err)
				}
				d.lockDir = b.TempDir()
				d.SetPatience(tc.patience)
				r := &running{Device: d}
				r.run(b)
				r.wait(b, StateSettling)
				l.Write([]byte("first\n9000\n")) // the first is dropped; the second says that all is open
				r.wait(b, StateLive)
				before := cpu(b)
				sent := instrument(b, l, n, rate)
				used := cpu(b) - before
				time.Sleep(100 * time.Millisecond)
				r.stop()
				report(b, sent, got, used, wakes)
			}
		})
	}
}

// BenchmarkReadPath compares ways to read 1,000 readings a second: through the library's own Read, through the runtime's
// poller, and through the runtime's poller after gathering. BenchmarkPty measures our own way.
func BenchmarkReadPath(b *testing.B) {
	library := func(p *serialPort, _ *os.File) io.Reader { return p.line }
	runtimes := func(_ *serialPort, f *os.File) io.Reader { return f }
	for _, tc := range []struct {
		name   string
		gather time.Duration
		reader func(*serialPort, *os.File) io.Reader
	}{
		{"library", 0, library},
		{"library_gather_2ms", 2 * time.Millisecond, library},
		{"runtime", 0, runtimes},
		{"runtime_gather_2ms", 2 * time.Millisecond, runtimes},
	} {
		b.Run(tc.name, func(b *testing.B) {
			for b.Loop() {
				readPath(b, tc.gather, tc.reader)
			}
		})
	}
}

func readPath(b *testing.B, gather time.Duration, reader func(*serialPort, *os.File) io.Reader) {
	const rate, n = 1000, benchSeconds * 1000
	l := devicetest.Open(b)
	p, err := openSerial(l.Path, 921600, plainLine, b.TempDir())
	if err != nil {
		b.Fatal(err)
	}
	defer p.Close()
	fd, err := unix.FcntlInt(uintptr(p.fd), unix.F_DUPFD_CLOEXEC, 0)
	if err != nil {
		b.Fatal(err)
	}
	file := os.NewFile(uintptr(fd), l.Path) // which the runtime watches, as it does not block
	defer file.Close()
	in := reader(p, file)
	got := make([]int64, n)
	wakes := 0
	done := make(chan struct{})
	go func() {
		defer close(done)
		f := NewTextFramer()
		buf := make([]byte, readBuffer)
		var dst []Sample
		for total := 0; total < n; {
			m, err := in.Read(buf)
			if err != nil || m == 0 {
				return
			}
			wakes++
			dst = f.Feed(dst[:0], buf[:m], Now())
			total += len(dst)
			now := monotonic()
			for _, s := range dst {
				if i := s.Value / 1000; i < n {
					got[i] = now
				}
			}
			if gather > 0 {
				time.Sleep(gather)
			}
		}
	}()
	before := cpu(b)
	sent := instrument(b, l, n, rate)
	used := cpu(b) - before
	<-done
	report(b, sent, got, used, wakes)
}
