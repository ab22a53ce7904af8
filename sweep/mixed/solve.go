package mixed

import (
	"math"

	"tramd/sweep"
)

// fitting is one fit on its way.
type fitting struct {
	in     *input
	segs   []segment
	start  start
	groups int
	opt    Options
	axes   [2]bool

	turning *sweep.Turning // nil unless the angles come of constant turning
	repeat  float64        // radians by which one turn lies turned against another

	bs       []block
	both     bool
	known    repeatability
	rounded  float64 // variance that rounding leaves in a typical block
	least    float64 // variance that its white noise has at least
	steps    steps
	band     band // 0 until one is found
	d        *design
	points   []point // of the last round
	ans      answer
	coef     []float64
	rms      float64 // of the readings about the fit, mm
	way      direction
	waves    []wave
	even     *even   // nil where the model holds
	goesOn   bool    // it is carried on with more readings: the dearest probability is worked out more seldom
	followed *levels // of a sweep that is carried on: the grid that its filter follows; nil: it is made of the blocks
}

func (f *fitting) solve() {
	f.bs = blocks(f.in, f.segs)
	f.known = f.prior()
	f.rounded = roundedTo(f.bs, f.in.resolution)
	along := func(b *block) (z, rise float64) {
		scale := f.in.tracks[b.track].scale
		return f.start.at(scale, b.th, f.start.t0), derivative(func(th float64) float64 { return f.start.at(scale, th, f.start.t0) }, b.th)
	}
	seen := bothWays(f.bs)
	f.both = seen || f.opt.BothWays && len(f.bs) >= denseSegments
	var way *direction
	if f.both {
		way = &f.way
	}
	f.round(way, along)
	if f.learnSteps() {
		f.round(way, along)
	}
	f.findWaves(way, along)
	if !f.findBand(way, along) && f.joinSwings() {
		f.learnSteps()
		f.round(way, along)
	}
	if !seen { // one way round alone cannot tell them from the lean; their priors make the interval wide
		return
	}
	f.findPlay()
	for range directionRounds {
		f.round(&f.way, f.along())
		shift, ok := f.way.learn(f.coef[f.d.form+f.d.drift:][:byCount], f.in.step())
		if !ok {
			return // what the columns found is no shift of the angle
		}
		for i := range f.bs {
			f.bs[i].th += shift(&f.bs[i])
		}
	}
	f.weighNoPlay()
}

// weighNoPlay averages over whether there is play at all, where some was found: it and a plain step by direction look
// much alike, but only play takes from the lean.
func (f *fitting) weighNoPlay() {
	if f.way.playMM == 0 {
		return
	}
	with := *f
	f.way.playMM = 0
	f.round(&f.way, f.along())
	for i := range f.points {
		f.points[i].weight += playProof
	}
	both := summarise(append(append([]point(nil), with.points...), f.points...))
	if with.ans.best.weightLog >= f.ans.best.weightLog+playProof {
		*f = with
	} else {
		f.way.moveMM = f.coef[f.d.form+f.d.drift+byMove]
	}
	best := f.ans.best
	f.ans = both
	f.ans.best = best
}

// along is the curve as fitted last.
func (f *fitting) along() curve {
	coef, d := f.coef, f.d
	return func(b *block) (z, rise float64) {
		c := func(th float64) float64 {
			return leanAt(coef, f.axes, f.in.tracks[b.track].scale, th) + d.formAt(d.circles[b.track], coef, th)
		}
		return c(b.th), derivative(c, b.th)
	}
}

// findPlay looks for the play of the plunger that makes the readings likeliest, the variances held as the plain round
// found them, from none upwards so that each curve starts the next.
func (f *fitting) findPlay() {
	l, h := f.levels(), f.ans.best.h
	best, bestWay, bestD, bestCoef := math.Inf(-1), f.way, f.d, f.coef
	amp := 0.0 // the play must leave something of the movement
	along := f.along()
	for i := range f.bs {
		z, _ := along(&f.bs[i])
		amp = math.Max(amp, math.Abs(z))
	}
	for _, steps := range playLevels {
		play := steps * f.in.step()
		if play > 0.7*amp {
			break
		}
		way := direction{playMM: play}
		var p point
		for range 2 {
			f.d = newDesign(f.in, f.bs, f.groups, f.axes, &way, f.along(), f.waves)
			f.d.noise2 = f.ans.best.s2
			s := f.searcher(f.d, l)
			p = s.at(h)
			f.coef = p.coefficients(f.d)
		}
		if play == 0 {
			p.weight += playProof
		}
		if p.weight > best {
			best, bestWay, bestD, bestCoef = p.weight, way, f.d, f.coef
		}
	}
	f.way, f.d, f.coef = bestWay, bestD, bestCoef
}

// directionRounds is how often the effects of direction are put in and found again; each needs the curve, and the curve
// needs them.
const directionRounds = 3

// searcher looks at points of a grid beside a design.
func (f *fitting) searcher(d *design, l *levels) searcher {
	return searcher{d: d, bs: f.bs, l: l, known: f.known, least: f.least, gram: map[noiseLevel]white{}, pace: f.opt.Pace}
}

func (f *fitting) round(way *direction, along curve) {
	before := f.ans.best.s2
	if before == 0 {
		before = sq(f.start.scale)
	}
	f.d = newDesign(f.in, f.bs, f.groups, f.axes, way, along, f.waves)
	f.d.noise2 = before
	s := f.searcher(f.d, f.levels())
	f.points = s.search()
	f.ans = summarise(append([]point(nil), f.points...))
	if f.ans.best.factor.n == 0 { // the search stopped with a heavier point not yet looked around from
		s.held = false
		f.ans.best.factor = s.at(f.ans.best.h).factor
	}
	f.coef = f.ans.best.coefficients(f.d)
}

func derivative(c func(float64) float64, th float64) float64 {
	const h = 0.01
	return (c(th+h) - c(th-h)) / (2 * h)
}

// leanAt is the lean's part of a reading.
func leanAt(coef []float64, axes [2]bool, scale, th float64) float64 {
	s, c := math.Sincos(th)
	at := len(coef) // the lean comes last
	var z float64
	if axes[1] {
		at--
		z += coef[at] * s
	}
	if axes[0] {
		z += coef[at-1] * c
	}
	return z * scale
}
