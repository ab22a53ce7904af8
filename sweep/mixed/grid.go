package mixed

import "math"

// The variance parameters are not estimated and then believed; the answer is averaged over a grid of them, each point
// weighted by its restricted likelihood (Patterson and Thompson 1971) and a weak prior. So an interval from few
// readings is wide because they cannot tell form from noise, and not because of a rule.

// hyper is a point of the grid, as level numbers; pair counts from 0, noise of each indicator's own, to both sides.
type hyper struct{ tau, slow, form, fall, drift, pair int8 }

const (
	hyperAxes = 6
	pairAxis  = 5
)

func (h *hyper) axis(i int) *int8 {
	return [hyperAxes]*int8{&h.tau, &h.slow, &h.form, &h.fall, &h.drift, &h.pair}[i]
}

// noiseLevel is what of a grid point makes the noise: tau, slow and pair.
type noiseLevel [3]int8

// levels holds the values along each axis. Variances are relative to the white noise of a typical block.
type levels struct {
	tau   []float64 // seconds; one level further stands for all of them together
	slow  []float64 // variance
	form  []float64 // standard deviation of harmonic 2
	fall  []float64 // harmonic k falls as k^-fall
	drift []float64 // standard deviation of the first drift polynomial

	together []float64 // correlations of the slow noise of two indicators, 0 not among them; none where there are not two

	steps      steps // of the display
	band       band
	unfinished bool // more readings will come

	settled bool // the blocks are stations, each settled before it was read
	line    bool // laid on a circle
}

// has reports whether there is such a level on an axis.
func (l *levels) has(axis int, v int8) bool {
	if axis == pairAxis {
		return int(max(v, -v)) <= len(l.together)
	}
	return v >= 0 && int(v) < [...]int{len(l.tau) + 1, len(l.slow), len(l.form), len(l.fall), len(l.drift)}[axis]
}

// correlation is that of the slow noise of two indicators at a level.
func (l *levels) correlation(pair int8) float64 {
	switch {
	case pair > 0:
		return l.together[pair-1]
	case pair < 0:
		return -l.together[-pair-1]
	}
	return 0
}

func newLevels(bs []block) *levels {
	var steps []float64
	for i := 1; i < len(bs); i++ {
		if dt := math.Abs(bs[i].t - bs[i-1].t); bs[i].track == bs[i-1].track && dt > 0 {
			steps = append(steps, dt)
		}
	}
	_, half := timeSpan(bs)
	step := median(steps)
	if math.IsNaN(step) {
		step = half
	}
	l := &levels{
		slow:  []float64{0, 0.006, 0.025, 0.1, 0.4, 1.6, 6.4, 25, 100, 400, 1600, 6400, 25600},
		form:  []float64{0.1, 0.3, 1, 3, 10, 30, 100, 300, 1000},
		fall:  []float64{0.8, 1.6, 2.6},
		drift: []float64{0.03, 0.1, 0.3, 1, 3, 10, 30, 100, 300, 1000},
	}
	l.settled = step > settleTime && standing(bs)
	if len(bs) < denseSegments { // too few to show more than this
		l.slow, l.drift = l.slow[:7], l.drift[:6]
	}
	for tau := step; len(l.tau) < 8; tau *= 3 {
		l.tau = append(l.tau, tau)
		if tau > 2*half {
			break
		}
	}
	return l
}

// standing reports whether the arm stood still at most blocks, rather than turned slowly all the time.
func standing(bs []block) bool {
	still := 0
	for i := range bs {
		if bs[i].span < sameStation {
			still++
		}
	}
	return 2*still > len(bs)
}

// noise is the shape of the noise at a point.
func (l *levels) noise(h hyper) noise {
	n := noise{slow: l.slow[h.slow], tau: l.tau, steps: l.steps, band: l.band, together: l.correlation(h.pair)}
	if !l.flicker(h) {
		n.tau = l.tau[h.tau : h.tau+1]
	}
	return n
}

func (l *levels) flicker(h hyper) bool { return int(h.tau) == len(l.tau) }

// beliefs are the priors, by what is common on machine tables swept by hand with a dial of 0.001 mm (common practice,
// no source). A wrong belief that there is no slow noise costs the interval far more than a wrong belief that there is
// some, since one turn alone tells the two hardly apart; hence while the arm turns, slow noise is thought the rule. At
// stations each reading settles first. A table without form, and a sweep without drift, are thought likelier than a
// little of either: both take for themselves what a random walk leaves, and would make it look small.
type beliefs struct {
	slower               float64 // power of tau by which slower noise is likelier
	noSlow               float64 // log weight of no slow noise at all, against all taus together
	oneOverF             float64 // log weight of noise of all taus together, against all single ones
	rougher              float64 // log weight of each step towards a rougher surface: it looks like a random walk
	noForm, noDrift      float64 // log weight of the smallest size, which stands for none, against each larger one
	slow, form, drift    float64 // the middle of each size, relative to the white noise
	slowW, formW, driftW float64 // the width of its logarithm
}

var (
	turningArm = beliefs{1, 0, -2, -2, 3, 5, 40, 0.6, 0.1, 2.3, 1.2, 2}
	atStations = beliefs{0.3, 0, -2, -0.5, 0, 0, 0.1, 0.6, 0.1, 3, 1.2, 2}
	movingLine = beliefs{0, 1, -2, -1, 0, 5, 0.4, 3, 0.5, 2, 2, 2}
	typedLine  = beliefs{0, 1, -2, -0.5, 0, 3, 0.3, 1, 0.1, 1, 1.2, 2}
)

// unfinishedDrift is the most that no drift is likelier than each size of it while a sweep goes on: over a part of a
// turn a drift looks like the lean, and that it has not shown itself yet says little (chosen; see study_live.md).
const unfinishedDrift = 1.0

// settleTime, in seconds: an arm that takes longer from block to block stops at stations.
const settleTime = 2.9

// prior is the log weight of a point before the readings speak; the widths leave a factor of ten either way hardly
// penalised.
func (l *levels) prior(h hyper) float64 {
	b := &turningArm
	switch {
	case l.line && l.settled:
		b = &typedLine
	case l.line:
		b = &movingLine
	case l.settled:
		b = &atStations
	}
	far := func(x, middle, width float64) float64 {
		e := math.Log(x/middle) / width
		return -e * e / 2
	}
	gauss := func(x, middle, width float64) float64 { return far(math.Max(x, middle/30), middle, width) }
	// Without slow noise there is one point and not one for every tau.
	all := math.Log(float64(len(l.tau)))
	slow := 0.0
	switch x := l.slow[h.slow]; {
	case h.slow == 0:
	case b == &turningArm: // hardly any slow noise is none, which has its own weight
		slow = far(x, b.slow, b.slowW)
	default:
		slow = gauss(x, b.slow, b.slowW)
	}
	switch {
	case h.slow == 0:
		slow = all + b.noSlow
	case l.flicker(h):
		slow += all + b.oneOverF
	default:
		slow += b.slower * math.Log(l.tau[h.tau]/l.tau[len(l.tau)/2])
	}
	if h.slow > 0 { // shared among all correlations
		slow -= math.Log(float64(1 + 2*len(l.together)))
	}
	rough := b.rougher * float64(len(l.fall)-1-int(h.fall))
	if h.form == 0 {
		rough += b.noForm
	}
	if h.drift == 0 {
		rough += b.noDrift
		if l.unfinished {
			rough = rough - b.noDrift + math.Min(b.noDrift, unfinishedDrift)
		}
	}
	return slow + rough + gauss(l.form[h.form], b.form, b.formW) + gauss(l.drift[h.drift], b.drift, b.driftW)
}
