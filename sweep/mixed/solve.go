package mixed

import (
	"math"
	"slices"

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
	both     bool // effects of direction are in the model
	seen     bool // the sweep went both ways
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
	parts    []part
	others   []other // models beside this one
	lost     float64 // probability that the plunger did not move
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
		return f.start.at(scale, b.th, f.start.t0),
			derivative(func(th float64) float64 { return f.start.at(scale, th, f.start.t0) }, b.th)
	}
	f.seen = bothWays(f.bs)
	f.both = f.seen || f.opt.BothWays && len(f.bs) >= denseSegments
	var way *direction
	if f.both {
		way = &f.way
	}
	f.round(way, along)
	if f.learnSteps() {
		f.round(way, along)
	}
	f.findParts(way, along)
	if !f.findBand(way, along) && f.joinSwings() {
		f.learnSteps()
		f.round(way, along)
	}
	if !f.seen { // one way round alone cannot tell them from the lean; their priors make the interval wide
		return
	}
	still := *f // before its angles are moved
	still.bs = slices.Clone(f.bs)
	levels, prior := f.findPlay()
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
	f.weighDirections(still, levels, prior)
}

// weighDirections averages over whether the way the arm goes matters at all, whether the plunger has play (it and a
// plain step by direction look much alike, but only play takes from the lean), and how much. Still is the fitting
// before its angles were moved; prior is the log odds of the play that was found.
func (f *fitting) weighDirections(still fitting, levels []playLevel, prior float64) {
	var others []model
	for _, l := range levels { // as far from the best level as they were when the levels were looked at
		m := model{slices.Clone(f.points), prior + l.weight}
		for i := range m.points {
			for k := range m.points[i].lean {
				m.points[i].lean[k] += l.lean[k]
			}
		}
		others = append(others, m)
	}
	main := model{f.points, prior}
	if f.way.playMM != 0 {
		without := *f
		without.way.playMM = 0
		without.round(&without.way, f.along())
		m := model{without.points, playOdds}
		if f.ans.best.weightLog+prior >= without.ans.best.weightLog+playOdds {
			others = append(others, m)
		} else {
			without.way.moveMM = without.coef[f.d.form+f.d.drift+byMove]
			others = append(others, main)
			*f, main = without, m
		}
	}
	still.round(nil, still.along())
	f.average(main, append(others, model{still.points, playOdds + playOdds}))
	f.weighStuck()
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

// playLevel is a play that was looked at and is not the best: its log weight against the best one's, and by how much
// its lean is another.
type playLevel struct {
	weight float64
	lean   [2]float64
}

// findPlay looks for the play of the plunger that makes the readings likeliest, the variances held as the plain round
// found them, from none upwards so that each curve starts the next. It returns the other levels that matter, and
// the log odds of the best.
//
// A plunger follows a wave by less than the wave, by its play: each level begins with a curve that is as much larger.
func (f *fitting) findPlay() (others []playLevel, prior float64) {
	l, h := f.levels(), f.ans.best.h
	type level struct {
		point
		way  direction
		d    *design
		coef []float64
	}
	var all []level
	best := 0
	seen := f.swing(f.along())
	for i, steps := range playLevels {
		way := direction{playMM: steps * f.in.step()}
		along := f.along()
		if now := f.swing(along); now > 0 {
			follow, larger := along, math.Max(1, (seen+way.playMM)/now)
			along = func(b *block) (z, rise float64) {
				z, rise = follow(b)
				return larger * z, larger * rise
			}
		}
		var p point
		for range 2 {
			f.d = newDesign(f.in, f.bs, f.groups, f.axes, &way, along, f.parts)
			f.d.noise2 = f.ans.best.s2
			s := f.searcher(f.d, l)
			p = s.at(h)
			f.coef = p.coefficients(f.d)
			along = f.along()
		}
		p.weight += playPrior(i)
		all = append(all, level{p, way, f.d, f.coef})
		if p.weight > all[best].weight {
			best = len(all) - 1
		}
	}
	top := &all[best]
	f.way, f.d, f.coef = top.way, top.d, top.coef
	for i := 1; i < len(all); i++ { // no play at all is weighed by a fit of its own
		if a := &all[i]; i != best && a.weight > top.weight-enough {
			others = append(others, playLevel{a.weight - top.weight,
				[2]float64{a.lean[0] - top.lean[0], a.lean[1] - top.lean[1]}})
		}
	}
	return others, playPrior(best)
}

// playPrior is the log prior of a level of play: half a normal curve shared out among the levels, and none against it.
func playPrior(level int) float64 {
	if level == 0 {
		return playOdds
	}
	x := playLevels[level]
	share := (playLevels[min(level+1, len(playLevels)-1)] - playLevels[level-1]) / 2
	return math.Log(share*math.Sqrt(2/math.Pi)/lostMotionSD) - sq(x/lostMotionSD)/2
}

// swing is half of what a curve goes through.
func (f *fitting) swing(along curve) float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for i := range f.bs {
		z, _ := along(&f.bs[i])
		low, high = math.Min(low, z), math.Max(high, z)
	}
	return (high - low) / 2
}

// directionRounds is how often the effects of direction are put in and found again; each needs the curve, and the curve
// needs them.
const directionRounds = 3

// searcher looks at points of a grid beside a design.
func (f *fitting) searcher(d *design, l *levels) searcher {
	return searcher{d: d, bs: f.bs, l: l, known: f.known, least: f.least, gram: map[noiseLevel]white{},
		pace: f.opt.Pace}
}

func (f *fitting) round(way *direction, along curve) {
	before := f.ans.best.s2
	if before == 0 {
		before = sq(f.start.scale)
	}
	f.others = nil
	f.d = newDesign(f.in, f.bs, f.groups, f.axes, way, along, f.parts)
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
