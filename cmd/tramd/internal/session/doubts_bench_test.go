package session

import (
	"math"
	"testing"
	"time"

	"tramd/device"
	"tramd/device/frame"
	"tramd/sweep"
	"tramd/sweep/units"
)

// BenchmarkDoubt doubts a stretch of a sweep of a million points: for how long the session's lock is taken at most
// until the running sums are without it, beside the time of the sums themselves, for which every port would wait if
// they were made under the lock.
func BenchmarkDoubt(b *testing.B) {
	const total = 1_000_000
	live := func() device.Status { return device.Status{State: device.StateLive} }
	s, _ := benchSession(b, []Port{{Name: "arm", Status: live}, {Name: "encoder", Status: live}})
	j, err := newJob(s, 1, sweep.MaxTurns, time.Now())
	if err != nil {
		b.Fatal(err)
	}
	s.job = j
	reading, count := []device.Sample{{Kind: frame.Length}}, []device.Sample{{Kind: frame.Count}}
	for i := range total {
		at := device.Stamp(i+1) * device.Stamp(time.Millisecond)
		z, _ := units.FromMM(0.05 * math.Cos(float64(i)*2*math.Pi/4096))
		reading[0].At, reading[0].Value = at, int64(z)
		count[0].At, count[0].Value = at, int64(i)
		s.Sink(device.Batch{Device: 0, Samples: reading})
		s.Sink(device.Batch{Device: 1, Samples: count})
	}
	var longest, alone time.Duration
	for b.Loop() {
		var old *sweep.Live
		began := time.Now()
		s.locked(func() {
			old = j.live
			j.doubt(s, sweep.Doubt{Code: sweep.DoubtMissedCounts, FromS: 100, ToS: 101,
				Text: "the encoder lost counts"})
		})
		longest = max(longest, time.Since(began))
		for made := false; !made; {
			time.Sleep(time.Millisecond)
			asked := time.Now()
			s.locked(func() { made = j.live != old })
			longest = max(longest, time.Since(asked))
		}
		var pieces [][]sweep.Point
		s.locked(func() { pieces = j.points.since(0) })
		began = time.Now()
		again, err := sweep.NewLive(j.setup)
		if err != nil {
			b.Fatal(err)
		}
		for _, piece := range pieces {
			for _, p := range sweep.Believed(piece, j.doubts) {
				if !math.IsNaN(p.Angle) {
					again.Add(p)
				}
			}
		}
		alone = max(alone, time.Since(began))
		s.locked(func() { j.doubts = nil })
	}
	b.ReportMetric(float64(longest.Microseconds())/1000, "longest-wait-ms")
	b.ReportMetric(float64(alone.Microseconds())/1000, "sums-ms")
}
