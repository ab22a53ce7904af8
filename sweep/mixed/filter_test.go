package mixed

import (
	"math"
	"math/rand/v2"
	"testing"

	"tramd/sweep"
)

// The filter right after a fit says what the fit said, and after any number of further blocks what the same equations
// say when they are solved for all blocks at once. Where a fit averages over a plunger with play and one without, the
// filter carries the likelier of the two on, whose interval is a little wider or narrower.
func TestTheFilterIsTheFit(t *testing.T) {
	t.Parallel()
	for _, f := range append(families(), unseen()...) {
		tr := f.draw(rand.New(rand.NewPCG(3, 9)))
		c, r, err := Begin(tr.pts, tr.setup, Options{})
		if err != nil {
			t.Fatalf("%s: %v", f.name, err)
		}
		got := c.Result()
		for i, a := range []*sweep.Axis{got.Tilt, got.Nod} {
			want := []*sweep.Axis{r.Tilt, r.Nod}[i]
			off, wide := math.Abs(float64(a.Slope-want.Slope))/float64(want.Expanded), float64(a.Expanded/want.Expanded)
			if off > 0.1 || wide < 0.9 || wide > 1.2 {
				t.Errorf("%s: off by %.2f U, and U is %.2f times that of the fit", f.name, off, wide)
			}
		}
		if got.Readings+got.Rejected != len(tr.pts) {
			t.Errorf("%s: %d", f.name, got.Readings+got.Rejected)
		}
	}
}

// Angles that come late, both ways round: a filter that carries a fit on over the rest of the way back says what a fit
// of all readings says. A rate of turning between a block whose angle the fit had moved and one that it had not made
// the nod wrong by seven times its interval.
func TestTheFilterCarriesLateAnglesOn(t *testing.T) {
	t.Parallel()
	for seed := range uint64(6) {
		r := rand.New(rand.NewPCG(seed, 17))
		s := scene{n: 1000, turns: 1.05, seconds: 15, passes: 2, white: 0.001, delay: 0.15, hysteresis: 0.001,
			form: 0.001, fall: 1.5}
		tr := s.draw(r)
		c, _, err := Begin(tr.pts[:len(tr.pts)*17/20], tr.setup, Options{BothWays: true})
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range tr.pts[len(tr.pts)*17/20:] {
			c.Add(p)
		}
		got := c.Result()
		want, err := Fit(tr.pts, tr.setup)
		if err != nil {
			t.Fatal(err)
		}
		for i, a := range []*sweep.Axis{got.Tilt, got.Nod} {
			b := []*sweep.Axis{want.Tilt, want.Nod}[i]
			if off, wide := math.Abs(float64(a.Slope-b.Slope)/float64(b.Expanded)),
				float64(a.Expanded/b.Expanded); off > 1 || wide > 1.6 {
				t.Errorf("seed %d: off by %.2f U, and U is %.2f times that of the fit", seed, off, wide)
			}
		}
	}
}

// While the way back lies ahead a live interval holds what lost motion may do; the share fades as the arm goes back.
func TestTheWayBackIsPartOfALiveInterval(t *testing.T) {
	t.Parallel()
	s := scene{n: 1000, turns: 1, seconds: 20, passes: 2, white: 0.0005}
	tr := s.draw(rand.New(rand.NewPCG(5, 17)))
	ind := tr.setup.Indicators[0]
	all := unseenPlay * ind.ResolutionMM / ind.RadiusMM
	was := math.Inf(1)
	for _, share := range []float64{0.3, 0.5, 0.75, 0.9, 1} {
		pts := tr.pts[:int(share*float64(len(tr.pts)))]
		f, r, err := fit(pts, tr.setup, Options{BothWays: true, Unfinished: true})
		if err != nil {
			t.Fatal(err)
		}
		ahead := f.wayBackAhead()
		if want := math.Min(1, 2*(1-share)); math.Abs(ahead-want) > 0.05 {
			t.Errorf("%g of the way: %.3f of the way back lies ahead, want %.3f", share, ahead, want)
		}
		if u := float64(r.Tilt.Expanded); u < 1.96*all*ahead || u > was {
			t.Errorf("%g of the way: the interval is %g, before it was %g, and lost motion alone makes %g", share, u,
				was, 1.96*all*ahead)
		} else {
			was = u
		}
		if f.opt.Unfinished = false; f.wayBackAhead() != 0 {
			t.Error("a sweep that has ended has a way back ahead")
		}
	}
}

// A chip ten times as high as the noise that comes while a filter carries a fit on is left out, and the lean holds.
func TestAChipIsLeftOutOfALiveSweep(t *testing.T) {
	t.Parallel()
	const from, to, high = 1500, 1550, 0.01
	for seed := range uint64(6) {
		tr := scene{n: 2000, turns: 1, seconds: 20, white: 0.001}.draw(rand.New(rand.NewPCG(seed, 41)))
		c, before, err := Begin(tr.pts[:1200], tr.setup, Options{})
		if err != nil {
			t.Fatal(err)
		}
		for i := 1200; i < len(tr.pts); i++ {
			p := tr.pts[i]
			if i >= from && i < to {
				p.Reading += high
			}
			c.Add(p)
		}
		got := c.Result()
		if out := got.Rejected - before.Rejected; out < (to-from)*4/5 || out > (to-from)*6/5 {
			t.Errorf("seed %d: %d readings were left out, want the %d of the chip", seed, out, to-from)
		}
		if off := math.Abs(float64(got.Tilt.Slope) - tr.tilt); off > 1.5*float64(got.Tilt.Expanded) {
			t.Errorf("seed %d: the tilt errs by %.2f U", seed, off/float64(got.Tilt.Expanded))
		}
	}
}
