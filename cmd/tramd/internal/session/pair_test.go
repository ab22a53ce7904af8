package session

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/device"
	"tramd/sweep"
	"tramd/sweep/units"
)

// After a sweep with two opposite indicators the pair shows a lean without turning; stale readings, an unknown place
// and a sweep without offsets show nothing.
func TestAPairReadsLeanWithoutTurning(t *testing.T) {
	s := &Session{latest: make([]latest, 2)}
	s.o.Wall = time.Now
	s.o.Setup.Indicators = []sweep.Indicator{{Name: "right", RadiusMM: 100, ResolutionMM: 0.001},
		{Name: "left", RadiusMM: 100, PhaseDeg: 180, ResolutionMM: 0.001}}
	axis := &sweep.Axis{U: 0.002 * units.MMPerM}
	s.zeroPair(7, api.Sweeping, &sweep.Result{Tilt: axis, Nod: axis, OffsetMM: []float64{1.5, 1.2}, DoF: 30}, nil)
	now := device.Stamp(100e9)
	s.latest[0] = latest{at: now, mm: 1530 * units.Millimetre / 1000, n: 1}
	s.latest[1] = latest{at: now, mm: 1170 * units.Millimetre / 1000, n: 1}
	deg := 90.0
	got := s.pairState(now, &deg)
	if got == nil || got.MMPerM == nil || got.Deg == nil || got.Run != 7 || math.Abs(*got.MMPerM-0.3) > 1e-9 ||
		math.Abs(*got.Deg-90) > 1e-9 ||
		got.U < 0.002 || got.U > 0.0045 || got.Half < 2*got.U || math.Abs(got.DiffMM-0.06) > 1e-9 ||
		math.Abs(got.ZeroMM-0.3) > 1e-9 {
		t.Fatalf("%+v, want 0.3 mm/m towards 90 degrees", got)
	}
	text, err := json.Marshal(api.Snapshot{Pair: got})
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
	s.zeroPair(8, api.Sweeping, &sweep.Result{Tilt: axis, OffsetMM: []float64{1.5, math.NaN()}}, nil)
	if s.pairState(now, &deg) != nil {
		t.Error("a lean without offsets")
	}
}

// A bar that is pressed down at its first indicator leans that way; readings that come 0.1 s late are carried on to
// now, the uncertainty says that the hand may have stopped, and the indicators say the same of themselves.
func TestAPairThatMovesIsCarriedOnToNow(t *testing.T) {
	s := &Session{latest: make([]latest, 2)}
	s.o.Wall = time.Now
	s.o.Setup.Indicators = []sweep.Indicator{{Name: "right", RadiusMM: 100, ResolutionMM: 0.001},
		{Name: "left", RadiusMM: 100, PhaseDeg: 180, ResolutionMM: 0.001}}
	for i := range s.latest {
		s.latest[i].contact = sweep.NewContact(s.o.Setup.Indicators[i], 0.1)
	}
	axis := &sweep.Axis{U: 0.002 * units.MMPerM}
	s.zeroPair(7, api.Sweeping, &sweep.Result{Tilt: axis, Nod: axis, OffsetMM: []float64{1, 1}, DoF: 30}, nil)
	const every = device.Stamp(20 * time.Millisecond)
	deg, now := 0.0, device.Stamp(50e9)
	for k := range units.Length(100) { // 0.1 mm/s at each end: 1 mm/m in a second
		now += every
		s.latest[0].take(now, units.Millimetre+2*k*units.Micrometre)
		s.latest[1].take(now, units.Millimetre-2*k*units.Micrometre)
	}
	moving := s.pairState(now, &deg)
	if moving.MMPerM == nil || math.Abs(*moving.MMPerM-(1.98+0.1)) > 0.001 || math.Abs(moving.Lag-0.1) > 0.001 ||
		moving.Half < 0.05 || *moving.AgeS != 0 {
		t.Errorf("moving: %+v", moving)
	}
	var d api.DeviceState
	stands(&d, s.latest[0], now)
	if d.LagMM == nil || math.Abs(*d.LagMM-0.01) > 1e-4 || math.Abs(*d.RateMMPerS-0.1) > 1e-3 || *d.UMM < 0.005 {
		t.Errorf("an indicator that moves: %+v", d)
	}
	for range 50 {
		now += every
		s.latest[0].take(now, 1198*units.Micrometre)
		s.latest[1].take(now, 802*units.Micrometre)
	}
	if at := s.pairState(now, &deg); at.MMPerM == nil || math.Abs(*at.MMPerM-1.98) > 1e-9 || at.Lag != 0 ||
		at.Half > moving.Half/2 {
		t.Errorf("standing: %+v", at)
	}
}
