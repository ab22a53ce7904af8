package frame

import (
	"testing"
	"time"

	"tramd/device/devicetest"
)

func benchmarkFramer(b *testing.B, f Framer, lines string, n int) {
	in := []byte(lines)
	dst := make([]Sample, 0, n)
	b.ReportAllocs()
	b.SetBytes(int64(len(in)))
	before := devicetest.CPU(b)
	for b.Loop() {
		if got := f.Feed(dst, in, 1); len(got) != n {
			b.Fatalf("%d readings, want %d", len(got), n)
		}
	}
	reportCPU(b, before, n)
}

// reportCPU gives what a reading costs in processor time, which a busy machine does not stretch.
func reportCPU(b *testing.B, before time.Duration, n int) {
	used := devicetest.CPU(b) - before
	b.ReportMetric(float64(used.Nanoseconds())/float64(b.N*n), "cpu-ns/reading")
	b.ReportMetric(float64(b.N*n)/used.Seconds()/1e6, "million/s/core")
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
