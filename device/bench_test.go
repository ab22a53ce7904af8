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

	"go.bug.st/serial"
	"golang.org/x/sys/unix"

	"tramd/device/devicetest"
	"tramd/device/frame"
	"tramd/device/serialport"
)

// bare makes the frame of a reading in micrometres, without a check value.
func bare(i int) []byte { return []byte{0xAA, 0x55, byte(i >> 16), byte(i >> 8), byte(i)} }

// monotonic reads the clock that all processes share, in nanoseconds.
func monotonic() int64 {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_MONOTONIC, &ts); err != nil {
		panic(err) // a test binary on Linux
	}
	return ts.Nano()
}

// writerEnv makes this test binary the instrument: "COUNT RATE KIND", where the kind is one of spoken.
const writerEnv = "DEVICE_TEST_WRITER"

// writerMain sends readings into descriptor 3, whose value in micrometres is their number, then tells on standard
// output when each was sent. It is a process of its own so that the processor time of the reader stands alone.
func writerMain() int {
	var n, rate int
	var kind string
	if _, err := fmt.Sscan(os.Getenv(writerEnv), &n, &rate, &kind); err != nil {
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
		frame = spoken[kind].frame(frame[:0], i)
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
func instrument(b *testing.B, l *devicetest.Line, n, rate int, kind string) []int64 {
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), fmt.Sprintf("%s=%d %d %s", writerEnv, n, rate, kind))
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

// spoken are kinds of frame, each saying so many micrometres.
var spoken = map[string]struct {
	spec  Spec
	frame func(dst []byte, i int) []byte
}{
	"text": {Spec{}, func(dst []byte, i int) []byte { return fmt.Appendf(dst, "%+09.3f\r\n", float64(i)/1000) }},
	"pattern": {Spec{Frame: frame.FramePattern, Pattern: &frame.Pattern{Form: "{channel:2}N{value:9}{unit:2}"}},
		func(dst []byte, i int) []byte { return fmt.Appendf(dst, "01N%9.3fMM\r\n", float64(i)/1000) }},
	"digits": {Spec{Frame: frame.FrameDigits, Digits: &frame.Digits{Map: "FF 0 dddddd 3", Decimals: 3}},
		func(dst []byte, i int) []byte {
			dst = append(dst, 0xFF)
			for k, d := 0, fmt.Sprintf("0%06d3", i); k < len(d); k += 2 {
				dst = append(dst, (d[k]-'0')<<4|(d[k+1]-'0'))
			}
			return dst
		}},
	"binary_crc16": {Spec{Frame: frame.FrameBinary, Binary: &frame.Binary{Layout: "AA 55 value check", Bits: 24,
		Order: "high_first", Scale: "1 um", Check: "crc16_modbus"}},
		func(dst []byte, i int) []byte { return append(dst, devicetest.Seal(bare(i))...) }},
	"encoder": {Spec{Role: frame.RoleAngle, Frame: frame.FrameEncoder, CountsPerTurn: 4096},
		func(dst []byte, i int) []byte { return fmt.Appendf(dst, "%d\n", 1000*i) }},
	// Held until the next is good too.
	"binary_bare": {Spec{Frame: frame.FrameBinary, Binary: &frame.Binary{Layout: "AA 55 value", Bits: 24,
		Order: "high_first", Scale: "1 um"}},
		func(dst []byte, i int) []byte { return append(dst, bare(i)...) }},
}

// BenchmarkPty measures a device from the byte written to the sink called: each kind of frame, and with a latency
// allowed.
func BenchmarkPty(b *testing.B) {
	for _, tc := range []struct {
		rate    int
		latency time.Duration
		kind    string
	}{
		{100, 0, "text"}, {1000, 0, "text"}, {1000, 5 * time.Millisecond, "text"}, {7000, 0, "text"},
		{100, 0, "pattern"}, {1000, 0, "pattern"}, {100, 0, "digits"}, {1000, 0, "digits"},
		{100, 0, "binary_crc16"}, {1000, 0, "binary_crc16"}, {100, 0, "binary_bare"}, {1000, 0, "binary_bare"},
		{100, 0, "encoder"}, {1000, 0, "encoder"},
	} {
		rate := tc.rate
		b.Run(fmt.Sprintf("%s_%d_per_s_latency_%v", tc.kind, rate, tc.latency), func(b *testing.B) {
			for b.Loop() {
				n := benchSeconds * rate
				l := devicetest.Open(b)
				got := make([]int64, n)
				wakes := 0
				spec := spoken[tc.kind].spec
				spec.Name, spec.Port, spec.Baud = "arm", l.Path, 921600
				if spec.Frame != frame.FrameEncoder {
					spec.Role = frame.RoleIndicator
				}
				d, err := New(0, spec, func(batch Batch) {
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
				d.SetLatency(tc.latency)
				r := &running{Device: d}
				r.run(b)
				r.wait(b, StateSettling)
				// The first line is dropped, and frames of bytes must find their place; then all is open.
				var lead []byte
				for i := range 10 {
					lead = spoken[tc.kind].frame(lead, 900_000+i)
				}
				l.Write(lead)
				r.wait(b, StateLive)
				before := devicetest.CPU(b)
				sent := instrument(b, l, n, rate, tc.kind)
				used := devicetest.CPU(b) - before
				for end := time.Now().Add(3 * time.Second); r.Status().Readings < uint64(n) && time.Now().Before(end); {
					time.Sleep(10 * time.Millisecond) // on a busy machine the last come late
				}
				time.Sleep(100 * time.Millisecond)
				r.stop()
				report(b, sent, got, used, wakes)
			}
		})
	}
}

// BenchmarkReadPath compares ways to read 1,000 readings a second: through the library's own Read, through the
// runtime's poller, and through the runtime's poller after gathering. BenchmarkPty measures our own way.
func BenchmarkReadPath(b *testing.B) {
	for _, tc := range []struct {
		name   string
		gather time.Duration
		open   func(*testing.B, string) io.Reader
	}{
		{"library", 0, libraryReader},
		{"library_gather_2ms", 2 * time.Millisecond, libraryReader},
		{"runtime", 0, runtimeReader},
		{"runtime_gather_2ms", 2 * time.Millisecond, runtimeReader},
	} {
		b.Run(tc.name, func(b *testing.B) {
			for b.Loop() {
				readPath(b, tc.gather, tc.open)
			}
		})
	}
}

func libraryReader(b *testing.B, path string) io.Reader {
	line, err := serial.Open(path, &serial.Mode{BaudRate: 921600})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { line.Close() })
	return line
}

func runtimeReader(b *testing.B, path string) io.Reader {
	p, err := serialport.Open(path, 921600, serialport.Plain, b.TempDir())
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { p.Close() })
	fd, err := unix.FcntlInt(uintptr(p.FD()), unix.F_DUPFD_CLOEXEC, 0)
	if err != nil {
		b.Fatal(err)
	}
	file := os.NewFile(uintptr(fd), path) // which the runtime watches, as it does not block
	b.Cleanup(func() { file.Close() })
	return file
}

func readPath(b *testing.B, gather time.Duration, open func(*testing.B, string) io.Reader) {
	const rate, n = 1000, benchSeconds * 1000
	l := devicetest.Open(b)
	in := open(b, l.Path)
	got := make([]int64, n)
	wakes := 0
	done := make(chan struct{})
	go func() {
		defer close(done)
		f := frame.NewTextFramer()
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
	before := devicetest.CPU(b)
	sent := instrument(b, l, n, rate, "text")
	used := devicetest.CPU(b) - before
	<-done
	report(b, sent, got, used, wakes)
}
