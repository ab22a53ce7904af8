package web

import (
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
)

// While a person moves an adjuster the page gets 20 states a second; a reading that flickers by a step is not moved,
// and a sweep keeps its own pace.
func TestAMovedReadingIsShownMoreOften(t *testing.T) {
	now := time.Now()
	var m movement
	show := func(mm float64, phase api.SweepPhase) time.Duration {
		now = now.Add(100 * time.Millisecond)
		return m.pace(&api.Snapshot{Devices: []api.DeviceState{{Name: "arm", ReadingMM: &mm}},
			Sweep: api.SweepState{Phase: phase}}, now)
	}
	for i, mm := range []float64{1, 1.001, 1, 1.001} {
		if got := show(mm, api.PhaseIdle); got != stateEvery {
			t.Errorf("reading %d: the next frame after %v", i, got)
		}
	}
	if got := show(1.004, api.PhaseIdle); got != aimEvery {
		t.Errorf("a moved reading: the next frame after %v", got)
	}
	if got := show(1.009, api.PhaseTurning); got != stateEvery {
		t.Errorf("in a sweep: the next frame after %v", got)
	}
	now = now.Add(movedFor)
	show(1.009, api.PhaseIdle) // it moved in the sweep
	now = now.Add(movedFor)
	if got := show(1.009, api.PhaseIdle); got != stateEvery {
		t.Errorf("long at rest: the next frame after %v", got)
	}
}
