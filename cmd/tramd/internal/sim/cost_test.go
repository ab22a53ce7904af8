package sim

import (
	"io"
	"os"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// BenchmarkMachine reports what a running machine takes of one core, at the demo's rates, with both ports read by
// nobody (the arm at rest), and with the arm turning and both ports read.
func BenchmarkMachine(b *testing.B) {
	for name, busy := range map[string]bool{"at rest": false, "turning and read": true} {
		b.Run(name, func(b *testing.B) {
			m, err := Start(b.Context(), Linnet())
			if err != nil {
				b.Fatal(err)
			}
			if busy {
				for _, path := range []string{m.IndicatorPath(), m.EncoderPath()} {
					port, err := os.OpenFile(path, os.O_RDWR, 0)
					if err != nil {
						b.Fatal(err)
					}
					go func() { // ends when the machine hangs up
						_, _ = io.Copy(io.Discard, port)
						_ = port.Close()
					}()
				}
				m.Turn(1e4, 30)
			}
			cpu, began := cpuTime(b), time.Now()
			for b.Loop() {
				time.Sleep(100 * time.Millisecond)
			}
			b.ReportMetric(100*(cpuTime(b)-cpu).Seconds()/time.Since(began).Seconds(), "%core")
			if err := m.Close(); err != nil {
				b.Fatal(err)
			}
		})
	}
}

func cpuTime(b *testing.B) time.Duration {
	var use unix.Rusage
	if err := unix.Getrusage(unix.RUSAGE_SELF, &use); err != nil {
		b.Fatal(err)
	}
	return time.Duration(use.Utime.Nano() + use.Stime.Nano())
}
