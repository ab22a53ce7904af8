package mixed

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Makers of indicators state some two display steps of lost motion (common practice, no source): the prior of the play
// is normalised, most of it lies within some steps, and more than that is not ruled out.
func TestPlayIsBelievedToBeSomeSteps(t *testing.T) {
	var all, some float64
	for i, steps := range playLevels[1:] {
		share := math.Exp(playPrior(i + 1))
		if all += share; steps < 4 {
			some += share
		}
	}
	if math.Abs(all-1) > 0.15 || some < 0.6*all || some > 0.95*all {
		t.Errorf("levels of play weigh %.2f in all, %.2f up to four steps", all, some)
	}
}

// A real plunger does not follow its play as the model has it, by some hundredths of the play; the budget says so.
func TestPlayIsInTheBudget(t *testing.T) {
	t.Parallel()
	found := 0
	for seed := range uint64(6) {
		tr := scene{n: 1600, turns: 1, seconds: 20, passes: 2, white: 0.0005, hysteresis: 0.003}.draw(
			rand.New(rand.NewPCG(seed, 19)))
		if math.Hypot(tr.tilt, tr.nod)*tr.setup.Indicators[0].RadiusMM < 0.015 {
			continue // such a lean hardly moves the plunger
		}
		f, r, err := fit(tr.pts, tr.setup, Options{})
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range r.Tilt.Budget {
			if c.Name == "play" && f.way.playMM > 0.001 {
				found++
				if share := c.U / f.way.playMM; share < 0.05 || share > 0.2 {
					t.Errorf("seed %d: the budget has %v mm of a play of %v mm", seed, c.U, f.way.playMM)
				}
			}
		}
	}
	if found < 2 {
		t.Errorf("play stands in %d budgets", found)
	}
}
