package runs

import (
	"math"
	"testing"

	"tramd/store"
	"tramd/sweep"
)

func TestRepeatabilityIsPooledOverRunsOfTheSameKind(t *testing.T) {
	run := func(machine, source string, o store.Outcome, n int, rms float64) store.Run {
		return store.Run{Outcome: o, Result: &sweep.Result{Readings: n, ResidualRMSMM: rms},
			Setup: sweep.Setup{Machine: machine, AngleSource: source, Indicators: make([]sweep.Indicator, 1)}}
	}
	runs := []store.Run{
		run("linnet", "stations", store.Finished, 5, 0.003),              // 2 degrees of freedom
		run("linnet", "stations", store.Finished, 7, 0.001),              // 4
		run("linnet", "stations", store.Finished, 3, 0.5),                // none
		run("wren", "stations", store.Finished, 5, 0.5),                  // another machine
		run("linnet", "encoder", store.Finished, 5, 0.5),                 // another way of measuring
		run("linnet", "stations", store.Abandoned, 5, 0.5),               // not finished
		run("linnet", "stations", store.Finished, 900, 0.5),              // many readings
		run("linnet", "stations", store.Finished, 5, math.NaN()),         // not known
		{Outcome: store.Finished, Setup: sweep.Setup{Machine: "linnet"}}, // no result
	}
	mm, dof := pool(runs, sweep.Setup{Machine: "linnet", AngleSource: "stations"})
	// By hand: (2*9 + 4*1) / 6 = 3.667 µm².
	if want := math.Sqrt(22e-6 / 6); math.Abs(mm-want) > 1e-12 || dof != 6 {
		t.Errorf("%v mm with %v degrees of freedom, want %v with 6", mm, dof, want)
	}
	if mm, dof := pool(nil, sweep.Setup{}); mm != 0 || dof != 0 {
		t.Errorf("from nothing: %v, %v", mm, dof)
	}
}
