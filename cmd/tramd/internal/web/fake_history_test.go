package web

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"tramd/sweep/drift"
)

// someHistory is half a year of checks: a spindle that was squared in March and has crept to the right since, judged by
// the drift model itself.
func someHistory(t testing.TB) *drift.View {
	t.Helper()
	var b strings.Builder
	b.WriteString("time,tilt_mm_per_m,tilt_u_mm_per_m,nod_mm_per_m,nod_u_mm_per_m,spindle_hours,event,temperature_c\n")
	day := time.Date(2026, 1, 5, 6, 0, 0, 0, time.UTC)
	for i := range 60 {
		at := day.AddDate(0, 0, 3*i)
		if i == 20 {
			fmt.Fprintf(&b, "%s,,,,,,adjusted\n", at.Add(-time.Hour).Format(time.RFC3339))
		}
		wobble := 0.006 * math.Sin(float64(i*i)) // no two alike, and the same each time
		tilt, nod := 0.02+wobble, -0.01+0.006*math.Cos(float64(3*i*i))
		if i >= 20 {
			tilt = -0.03 + 0.0022*float64(i-20) + wobble
		}
		// a shop's winter and summer
		warm := 15 - 6*math.Cos(float64(3*i)/365.25*2*math.Pi) + 2*math.Sin(float64(7*i*i))
		nod += 0.002 * (warm - 15)
		fmt.Fprintf(&b, "%s,%.5f,0.004,%.5f,0.004,,,%.1f\n", at.Format(time.RFC3339), tilt, nod, warm)
	}
	h, err := drift.ReadCSV(strings.NewReader(b.String()), 0.0667)
	if err != nil {
		t.Fatal(err)
	}
	a, err := drift.Work(h, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	return a.View(h, 800, 0.95)
}

func historyOf(v *drift.View) Drift {
	return driftFunc(func() (*drift.View, error) { return v, nil })
}
