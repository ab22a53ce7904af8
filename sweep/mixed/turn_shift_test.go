package mixed

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"tramd/sweep"
)

var turnStudy = flag.Int("turns.study", 0,
	"sweeps of each family in the study of counts lost between two turns (sweep/tag_encoder_study.md); 0: a few, as a test")

// overTurns draws the sweeps of a turn and a half or more. The seeds are others than that by which the limits were
// chosen (1).
func overTurns(t *testing.T, runs int, seed uint64, do func(name string, tr trial, rng *rand.Rand)) {
	t.Helper()
	each := 1
	if *turnStudy == 0 { // the test takes some of the families
		each = 4
	}
	for g, families := range [][]family{families(), unseen()} {
		for k := 1; k < len(families); k += each {
			f := families[k]
			for i := range runs {
				rng := rand.New(rand.NewPCG(seed+uint64(g), uint64(k)<<32+uint64(i)))
				tr := f.draw(rng)
				tr.setup.AngleSource = "encoder"
				if low, high := angles(tr.pts); f.long && high-low > 3*math.Pi {
					do(f.name, tr, rng)
				}
			}
		}
	}
}

func angles(pts []sweep.Point) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, p := range pts {
		if p.Finite() {
			low, high = math.Min(low, p.Angle), math.Max(high, p.Angle)
		}
	}
	return low, high
}

// No noise, surface, warming, knock or play of the two generators looks like counts lost between two turns.
func TestTurnsOfACleanSweepAgree(t *testing.T) {
	t.Parallel()
	n, alarms := 0, 0
	overTurns(t, max(4, *turnStudy), 7001, func(name string, tr trial, _ *rand.Rand) {
		n++
		if s, found, _ := sweep.FindTurnShift(tr.pts, tr.setup); found {
			alarms++
			if *turnStudy == 0 || alarms < 20 {
				t.Logf("%s: %+v", name, s)
			}
		}
	})
	t.Logf("%d alarms in %d clean sweeps of a turn and a half or more", alarms, n)
	if n < 6 || alarms*2000 > n {
		t.Errorf("%d alarms in %d clean sweeps", alarms, n)
	}
}

// How many of the losses between two turns are found, and how often the interval holds the lean all the same: the study
// prints it, the test sees that neither falls below what the study found.
func TestLossesBetweenTurns(t *testing.T) {
	t.Parallel()
	type tally struct{ n, found, late, held int }
	sizes := []float64{1, 3, 10, 30}
	harms := []float64{0.3, 1, 3, 10, 30, math.Inf(1)}
	table := map[[2]int]*tally{}
	all := map[int]*tally{}
	runs := max(3, *turnStudy/4)
	if *turnStudy == 0 {
		sizes = []float64{30}
	}
	n, held, found := 0, 0, 0
	for s, deg := range sizes {
		all[s] = &tally{}
		overTurns(t, runs, 7101+10*uint64(s), func(_ string, tr trial, rng *rand.Rand) {
			clean, err := Fit(tr.pts, tr.setup)
			if err != nil || clean.Tilt == nil || clean.Nod == nil {
				return
			}
			when := tr.pts[len(tr.pts)/4+rng.IntN(len(tr.pts)/2)].T
			by := sweep.Radians(deg) * float64(1-2*rng.IntN(2))
			for i := range tr.pts {
				if tr.pts[i].T > when {
					tr.pts[i].Angle += by
				}
			}
			// What it does to the lean, beside the uncertainty that the lean had.
			harm := 2 * math.Hypot(tr.tilt, tr.nod) * math.Sin(math.Abs(by)/2) / math.Max(float64(clean.Tilt.U),
				float64(clean.Nod.U))
			h := 0
			for harm > harms[h] {
				h++
			}
			k := [2]int{s, h}
			if table[k] == nil {
				table[k] = &tally{}
			}
			shift, found, _ := sweep.FindTurnShift(tr.pts, tr.setup)
			pts := tr.pts
			if found {
				pts = sweep.Believed(pts, []sweep.Doubt{shift.Doubt(pts[len(pts)-1].T)})
			}
			r, err := Fit(pts, tr.setup)
			if err != nil {
				if !found {
					t.Error(err)
				}
				return // too little is believed: said, not measured
			}
			for _, c := range []*tally{table[k], all[s]} {
				c.n++
				if found {
					c.found++
				}
				if found && shift.FromS > when {
					c.late++
				}
				if r.Tilt != nil && r.Nod != nil {
					if math.Abs(float64(r.Tilt.Slope)-tr.tilt) <= float64(r.Tilt.Expanded) {
						c.held++
					}
					if math.Abs(float64(r.Nod.Slope)-tr.nod) <= float64(r.Nod.Expanded) {
						c.held++
					}
				} else {
					c.held += 2
				}
			}
		})
	}
	out :=
		"| counts lost, degrees | turns the lean by, in its own standard uncertainties | sweeps | seen | interval held the lean |\n|---|---|---|---|---|\n"
	for s, deg := range sizes {
		low := 0.0
		for h, high := range harms {
			if c := table[[2]int{s, h}]; c != nil && c.n > 0 {
				out += fmt.Sprintf("| %v | %v to %v | %d | %.0f %% | %.0f %% |\n", deg, low, high, c.n,
					100*float64(c.found)/float64(c.n), 50*float64(c.held)/float64(c.n))
			}
			low = high
		}
		c := all[s]
		t.Logf("%v degrees: %d sweeps, %d seen, %d of them later than it was, held in %.1f %%", deg, c.n, c.found,
			c.late, 50*float64(c.held)/float64(c.n))
		n, held, found = n+c.n, held+c.held, found+c.found
	}
	if n < 6 || float64(held) < 0.65*2*float64(n) || found*10 < n {
		t.Errorf("of %d sweeps with lost counts %d were seen, and the interval held the lean in %d of %d", n,
			found, held, 2*n)
	}
	t.Logf("\n%s", out)
}
