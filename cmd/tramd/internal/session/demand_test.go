package session

import (
	"strings"
	"testing"
	"time"

	"tramd/device"
	"tramd/device/frame"
	"tramd/sweep"
	"tramd/sweep/units"
)

// An indicator that is asked on a person's word gives one reading a station, and none by itself.
func TestAnIndicatorAskedOnDemand(t *testing.T) {
	degs := []float64{0, 90, 180, 270}
	r := stationRig(t, sweep.StationOptions{AnglesDeg: degs, SettleS: 0.5})
	at, mute := 0, false
	r.o.Ports[0].Ask = func() { // called with the session's lock: the answer comes from elsewhere
		if mute {
			return
		}
		z, _ := units.FromMM(heightAt(degs[at])) // well inside an indicator's travel
		go r.Sink(device.Batch{Device: 0,
			Samples: []device.Sample{{At: device.Now(), Kind: frame.Length, Value: int64(z)}}})
	}
	run, err := r.Start(t.Context(), 1, "check")
	if err != nil {
		t.Fatal(err)
	}
	for i := range degs {
		at = i
		if i == 2 { // once it does not answer; the person tries again
			mute = true
			begin := time.Now()
			if err := r.Take(t.Context(), run); err == nil || !strings.Contains(err.Error(), "has not answered") ||
				time.Since(begin) < demandWait {
				t.Fatalf("of a mute indicator: %v", err)
			}
			mute = false
		}
		if err := r.Take(t.Context(), run); err != nil {
			t.Fatal(err)
		}
		if got := r.states(t); i < 3 && (got[i] != "taken" || got[i+1] != "here") {
			t.Fatalf("after station %d: %v", i, got)
		}
		if i == 3 {
			break
		}
	}
	checkRig(t, r.wait(t, "the end", idleNow))
}
