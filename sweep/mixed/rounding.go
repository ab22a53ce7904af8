package mixed

import "math"

// A coarse display is wrong by a rounding error that stays as long as the reading stands still, over much of a slow
// turn where the lean is small against a step. Taken for a random walk, it would make the model trust the difference
// between the two ends of the sweep, which are each off by up to half a step. So it has a part of the noise of its own,
// of known size.

const (
	stepsWhite  = 0.2     // share of the rounding that differs from block to block
	stepsMatter = 0.3     // of the white noise's variance: less rounding than this is left out
	stepsLast   = 1.0 / 3 // of the time that a reading stands still: how long its rounding error stays alike
	stepsLeft   = 0.5     // share of the rounding of the wave itself that this part of the noise does not hold (from simulation)
)

// roundedTo is the variance that rounding to steps of q leaves in a typical block: readings that stand still are all
// wrong by one rounding, rectangular over a step, and each stretch of them by its own. Noise of standard deviation s in
// the readings leaves exp(-2 (pi s/q)^2) of it (first term of the Fourier series of the rounding error, taken once and
// not squared: a block holds few readings); how often neighbouring readings differ tells s, as the mean difference of
// two normal values is 2 s/sqrt(pi).
func roundedTo(bs []block, q float64) float64 {
	var sum, changes, pairs float64
	for i := range bs {
		runs := math.Max(1, bs[i].runs)
		sum += 1 / runs / float64(len(bs))
		changes, pairs = changes+runs-1, pairs+bs[i].n-1
	}
	dither := 0.0 // in steps
	if pairs > 0 {
		dither = changes / pairs * math.Sqrt(math.Pi) / 2
	}
	return q * q / 12 * sum * math.Exp(-2*math.Pi*math.Pi*dither*dither)
}

// stood is how long the reading stands still, each stretch weighted by its time.
func (in *input) stood() float64 {
	var sum, all float64
	for k := range in.tracks {
		tr := &in.tracks[k]
		first, last := -1, -1
		flush := func(to int) {
			if first >= 0 {
				d := math.Abs(tr.t[to] - tr.t[first])
				sum, all = sum+d*d, all+d
			}
		}
		for i, w := range tr.why {
			if w != kept {
				continue
			}
			if first < 0 || tr.z[i] != tr.z[first] {
				flush(i)
				first = i
			}
			last = i
		}
		if last >= 0 {
			flush(last)
		}
	}
	if all == 0 {
		return 0
	}
	return sum / all
}

// learnSteps gives the rounding its part of the noise where it matters, and says whether it does.
func (f *fitting) learnSteps() bool {
	if f.rounded == 0 || len(f.bs) < denseSegments {
		return false
	}
	white := math.Max(f.ans.best.s2, stepsWhite*f.rounded)
	s := steps{variance: (1 - stepsWhite) * f.rounded / white, tau: stepsLast * f.in.stood()}
	if s.variance < stepsMatter || s.tau <= 0 {
		return false
	}
	f.steps, f.least = s, stepsWhite*f.rounded
	return true
}

// levels are the grid of this sweep.
func (f *fitting) levels() *levels {
	if f.followed != nil {
		return f.followed
	}
	l := newLevels(f.bs)
	l.steps, l.band, l.unfinished = f.steps, f.band, f.opt.Unfinished
	l.settled = l.settled || f.opt.Settled && standing(f.bs)
	if f.d != nil && f.d.pair != nil {
		l.together = correlations
	}
	return l
}
