package drift

import (
	"math"
	"math/rand/v2"
	"runtime"
	"testing"
	"time"
)

// hourly is ten years of checks, one an hour, of a machine that wanders a little.
func hourly(n int) []Check {
	r := rand.New(rand.NewPCG(11, 12))
	out := make([]Check, n)
	level := [2]float64{0.01, -0.02}
	for k := range out {
		out[k] = Check{Time: epoch.Add(time.Duration(k) * time.Hour), Limit: 0.0667, SpindleHours: math.NaN()}
		for i := range level {
			level[i] += 2e-5 * r.NormFloat64()
			out[k].Axis[i] = &Value{level[i] + 0.005*r.NormFloat64(), 0.004}
		}
	}
	return out
}

// BenchmarkTenYearsHourly follows 87,600 checks, one by one on one goroutine, and asks for the next date.
func BenchmarkTenYearsHourly(b *testing.B) {
	checks := hourly(87600)
	for b.Loop() {
		t := New()
		for _, c := range checks {
			if _, err := t.Check(c); err != nil {
				b.Fatal(err)
			}
		}
		t.Forecast(0.95)
	}
}

// BenchmarkTenYearsWarm is the same with the temperature of every hour, by which one axis leans, as tramd drift works
// through a record: both axes side by side.
func BenchmarkTenYearsWarm(b *testing.B) {
	air := weather(rand.New(rand.NewPCG(13, 14)))
	var entries []Entry
	for k, c := range hourly(87600) {
		celsius := air(float64(k) / 24)
		c.Axis[0].MMPerM += 0.002 * (celsius - 16)
		c.TemperatureC = &celsius
		entries = append(entries, Entry{Check: &c})
	}
	follow(b, entries)
}

// BenchmarkTenYearsFollowed is the record without a temperature, likewise.
func BenchmarkTenYearsFollowed(b *testing.B) {
	var entries []Entry
	for _, c := range hourly(87600) {
		entries = append(entries, Entry{Check: &c})
	}
	follow(b, entries)
}

func follow(b *testing.B, entries []Entry) {
	b.Helper()
	for b.Loop() {
		t := New()
		if _, err := t.Follow(entries); err != nil {
			b.Fatal(err)
		}
		t.Forecast(0.95)
	}
}

// BenchmarkHeldAfterTenYears is the memory that a tracker holds after 87,600 checks.
func BenchmarkHeldAfterTenYears(b *testing.B) {
	checks := hourly(87600)
	for b.Loop() {
		var before, after runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&before)
		t := New()
		for _, c := range checks {
			if _, err := t.Check(c); err != nil {
				b.Fatal(err)
			}
		}
		runtime.GC()
		runtime.ReadMemStats(&after)
		b.ReportMetric(float64(after.HeapAlloc)-float64(before.HeapAlloc), "bytes-held")
		runtime.KeepAlive(t)
	}
	runtime.KeepAlive(checks)
}

// BenchmarkAsBatches is the alternative: at each check, all of the history again. Checks are few, for it is quadratic.
func BenchmarkAsBatches(b *testing.B) {
	checks := hourly(400)
	for b.Loop() {
		for n := range checks {
			t := New()
			for _, c := range checks[:n+1] {
				if _, err := t.Check(c); err != nil {
					b.Fatal(err)
				}
			}
		}
	}
	b.ReportMetric(float64(b.Elapsed())/float64(b.N)/float64(len(checks)), "ns/check")
}

// BenchmarkView thins ten years of hourly checks to what a page draws.
func BenchmarkView(b *testing.B) {
	h := &History{}
	for _, c := range hourly(87600) {
		h.Entries = append(h.Entries, Entry{Check: &c})
	}
	a, err := Work(h, 0.95)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if v := a.View(h, 800, 0.95); v.Total != 87600 || len(v.Checks) > 1100 {
			b.Fatalf("%d of %d", len(v.Checks), v.Total)
		}
	}
}
