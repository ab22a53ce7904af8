package session

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"tramd/device"
	"tramd/sweep"
	"tramd/sweep/units"
)

// After a sweep with two opposite indicators the pair shows a lean without turning; stale readings, an unknown place
// and a sweep without offsets show nothing.
func TestAPairReadsLeanWithoutTurning(t *testing.T) {
	s := &Session{latest: make([]latest, 2)}
	s.o.Wall = time.Now
	s.o.Setup.Indicators = []sweep.Indicator{{Name: "right", RadiusMM: 100, ResolutionMM: 0.001}, {Name: "left", RadiusMM: 100, PhaseDeg: 180, ResolutionMM: 0.001}}
	axis := &sweep.Axis{U: 0.002 * units.MMPerM}
	s.zeroPair(7, Sweeping, &sweep.Result{Tilt: axis, Nod: axis, OffsetMM: []float64{1.5, 1.2}, DoF: 30}, nil)
	now := device.Stamp(100e9)
	s.latest[0] = latest{at: now, mm: 1530 * units.Millimetre / 1000, n: 1}
	s.latest[1] = latest{at: now, mm: 1170 * units.Millimetre / 1000, n: 1}
	deg := 90.0
	got := s.pairState(now, &deg)
	if got == nil || got.MMPerM == nil || got.Deg == nil || got.Run != 7 || math.Abs(*got.MMPerM-0.3) > 1e-9 || math.Abs(*got.Deg-90) > 1e-9 ||
		got.U < 0.002 || got.U > 0.0045 || got.Half < 2*got.U || math.Abs(got.DiffMM-0.06) > 1e-9 || math.Abs(got.ZeroMM-0.3) > 1e-9 {
		t.Fatalf("%+v, want 0.3 mm/m towards 90 degrees", got)
	}
	text, err := json.Marshal(Snapshot{Pair: got})
	if err != nil || !strings.Contains(string(text), `"pair":{"run":7,`) {
		t.Errorf("%v: %s", err, text)
	}
	if got := s.pairState(now, nil); got.MMPerM != nil || got.Why == "" {
		t.Errorf("a lean towards nowhere: %+v", got)
	}
	if got := s.pairState(now+device.Stamp(staleAfter), &deg); got.MMPerM != nil || got.Why == "" {
		t.Errorf("a lean from stale readings: %+v", got)
	}
	s.o.Setup.Indicators[0].TravelMM = []float64{0, 1.53}
	if got := s.pairState(now, &deg); got.MMPerM != nil {
		t.Errorf("a lean from an indicator at the end of its travel: %+v", got)
	}
	s.zeroPair(8, Sweeping, &sweep.Result{Tilt: axis, OffsetMM: []float64{1.5, math.NaN()}}, nil)
	if s.pairState(now, &deg) != nil {
		t.Error("a lean without offsets")
	}
}
