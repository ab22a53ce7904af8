package mixed

import (
	"math"
	"math/rand/v2"
	"testing"

	"tramd/sweep"
)

// flawed is a sweep of three turns of even speed over a level surface with what change adds to the reading at a time
// and an angle; its lean is 0.3 and -0.2 mm/m.
func flawed(seed uint64, change func(t, th float64) float64) trial {
	r := rand.New(rand.NewPCG(seed, 31))
	out := trial{tilt: 0.3e-3, nod: -0.2e-3, setup: oneArm(100)}
	out.setup.Indicators[0].ResolutionMM = 0.001
	for i := range 2400 {
		t := float64(i) / 40
		th := 6 * math.Pi * float64(i) / 2400
		z := 0.03*math.Cos(th) - 0.02*math.Sin(th) + change(t, th) + 0.001*r.NormFloat64()
		out.pts = append(out.pts, sweep.Point{T: t, Angle: th, Reading: math.Round(z/0.001) * 0.001})
	}
	return out
}

// hump is a raised cosine of unit height.
func hump(off, half float64) float64 {
	if math.Abs(off) >= half {
		return 0
	}
	return (1 + math.Cos(math.Pi*off/half)) / 2
}

// What the surface or the time has beyond form and drift is found for what it is, at its place, and the lean does not
// go with it: without the part least squares errs by far more than the model says.
func TestPartsAreFound(t *testing.T) {
	t.Parallel()
	wrapped := func(th, at float64) float64 { return math.Remainder(th-at, 2*math.Pi) }
	for _, c := range []struct {
		name   string
		want   kind
		change func(t, th float64) float64
		right  func(p part) bool
	}{
		{"dent", dent, func(_, th float64) float64 { return -0.005 * hump(wrapped(th, 1), 0.15) },
			func(p part) bool { return math.Abs(wrapped(p.mid, 1)) < 0.1 }},
		{"bump", bump, func(t, _ float64) float64 { return 0.006 * hump(t-20, 1.2) },
			func(p part) bool { return math.Abs(p.mid-20) < 1 }},
		{"plates", plates, func(_, th float64) float64 { // of 0.006 mm from 0.5 to 3 radians, their plane taken off
			b := block{th: th}
			return 0.006 * (edgeAt(&b, 3) - edgeAt(&b, 0.5))
		}, func(p part) bool {
			near := 0
			for _, e := range p.edges {
				if math.Abs(wrapped(e, 0.5)) < 0.05 || math.Abs(wrapped(e, 3)) < 0.05 {
					near++
				}
			}
			return near == 2
		}},
	} {
		tr := flawed(4, c.change)
		f, r, err := fit(tr.pts, tr.setup, Options{})
		if err != nil {
			t.Fatal(err)
		}
		found := false
		for _, p := range f.parts {
			found = found || p.kind == c.want && c.right(p)
		}
		if !found {
			t.Errorf("%s: found %+v", c.name, f.parts)
		}
		off := math.Max(
			math.Abs(float64(r.Tilt.Slope)-tr.tilt)/float64(r.Tilt.Expanded),
			math.Abs(float64(r.Nod.Slope)-tr.nod)/float64(r.Nod.Expanded),
		)
		if off > 1.3 || r.Tilt.Expanded.MMPerM() > 0.003 {
			t.Errorf("%s: off by %.2f U, U %.4f mm/m", c.name, off, r.Tilt.Expanded.MMPerM())
		}
	}
}

// A level sweep of white noise has no parts; neither has one over a smooth lobed surface whose lobes are finer than the
// form's harmonics, which would do for dents.
func TestNoPartsWhereThereAreNone(t *testing.T) {
	t.Parallel()
	for seed := range uint64(4) {
		tr := flawed(seed, func(_, _ float64) float64 { return 0 })
		if p := fittingOf(t, tr.pts, tr.setup).parts; len(p) > 0 {
			t.Errorf("seed %d, white noise: found %+v", seed, p)
		}
		table := levelled(splined(rand.New(rand.NewPCG(seed, 8)), 10), 0.004)
		tr = flawed(seed, func(_, th float64) float64 { return table(th) })
		for _, p := range fittingOf(t, tr.pts, tr.setup).parts {
			if p.kind == dent || p.kind == plates {
				t.Errorf("seed %d, smooth lobes: found %+v", seed, p)
			}
		}
	}
}

// Two knocks of like size that undo each other look like the edges of a plate to a sweep of one turn. Where a tenth is
// left of them the model tells; where nothing is, the plate is the likelier and the interval still reaches most of the
// way.
func TestKnocksThatUndoEachOther(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ back, held int }{{36, 8}, {40, 2}} {
		held, n := 0, 0
		for seed := range uint64(5) {
			tr := flawed(seed, func(_, _ float64) float64 { return 0 })
			tr.pts = tr.pts[:820]
			for i := range tr.pts {
				switch t := tr.pts[i].T; {
				case t > 13:
					tr.pts[i].Reading += 0.04 - 0.001*float64(c.back)
				case t > 5:
					tr.pts[i].Reading += 0.04
				}
			}
			r, err := Fit(tr.pts, tr.setup)
			if err != nil {
				t.Fatal(err)
			}
			for k, a := range []*sweep.Axis{r.Tilt, r.Nod} {
				e := math.Abs(float64(a.Slope) - [2]float64{tr.tilt, tr.nod}[k])
				n++
				if e <= float64(a.Expanded) {
					held++
				}
				if e > 4*float64(a.Expanded) {
					t.Errorf("back by %d of 40 steps, seed %d: off by %.1f U", c.back, seed, e/float64(a.Expanded))
				}
			}
		}
		if held < c.held {
			t.Errorf("back by %d of 40 steps: held the truth in %d of %d", c.back, held, n)
		}
	}
}

// A plunger that sticks by more than the wave under it does not move, both ways round: the interval reaches as far as
// plungers stick, and a warning says so. One that follows the wave has neither.
func TestPlungerThatDoesNotMove(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name  string
		moves bool
	}{{"it follows", true}, {"it sticks", false}} {
		r := rand.New(rand.NewPCG(3, 3))
		setup := oneArm(100)
		setup.Indicators[0].ResolutionMM = 0.001
		const tilt = -0.031e-3
		var pts []sweep.Point
		for i := range 2000 {
			th := 2.4 * math.Pi * (1 - math.Abs(float64(i)/1000-1))
			z := 0.0006 * r.NormFloat64()
			if c.moves {
				z += 100 * tilt * math.Cos(th)
			}
			pts = append(pts, sweep.Point{T: float64(i) / 40, Angle: th, Reading: math.Round(z/0.001) * 0.001})
		}
		res, err := Fit(pts, setup)
		if err != nil {
			t.Fatal(err)
		}
		if e := math.Abs(float64(res.Tilt.Slope) - tilt); e > float64(res.Tilt.Expanded) || c.moves &&
			res.Tilt.Expanded.MMPerM() > 0.01 {
			t.Errorf("%s: off by %.4f mm/m, U %.4f mm/m", c.name, 1000*e, res.Tilt.Expanded.MMPerM())
		}
		if warned(res, WarnStill) == c.moves {
			t.Errorf("%s: warnings %v", c.name, res.Warnings)
		}
	}
}
