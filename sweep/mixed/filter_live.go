package mixed

import (
	"cmp"
	"math"
	"slices"

	"tramd/sweep"
)

// Filter carries a fit of the full model on with the readings that come after it. The noise is Markov, so what it needs
// of all readings before is small: for each grid point of the variances that matters the state of its noise and the
// sums of products of the rows. A further block costs the same however long the sweep is, and the answer is that of the
// same equations, priors and grid as a fit of all blocks: live and final differ only in what a fit finds new, the grid
// points that matter, what is off the surface, waves and play. One goroutine at a time.
type Filter struct {
	f       *fitting
	said    sweep.Result // by the fit
	d       *design      // its rows are those of the fit; they stay as they were written
	l       *levels
	grid    []followed
	courses map[noiseLevel]*course
	pairs   pairing    // blocks of two indicators that wait for each other
	tracks  []*stretch // by indicator; nil: the fit has no reading of it
	bs      []block    // all finished ones that were read
	fitted  int        // blocks of the fit
	along   curve

	change *respan // to the columns of the last solution
	now    *solved

	readings, rejected int     // since the fit; those of open blocks included
	off                int     // readings of finished blocks that were off the surface
	strayS             float64 // for how long the last blocks have been off the surface
	missing            int     // readings of indicators that the fit does not know

	aimless  bool     // where 0 degrees is is not known: the lean has no direction
	judged   *float64 // the probability that both axes conform, and the time of the newest reading in it
	judgedAt float64

	rooms map[noiseLevel]*solving
	out   []float64

	points []point // room for the grid of a result
}

// solved is the last solution.
type solved struct {
	best point
	coef []float64
}

// solving is room to solve in.
type solving struct {
	paces []*pace
	gram  sym
}

// Grid points that a filter follows: as many of the heaviest, and as many kinds of noise.
const (
	mostPoints  = 48
	mostCourses = 16
)

// Begin fits a sweep that goes on, and gives what the fit says and the filter that carries it on. The filter is nil
// under constant turning, where the angles of all readings are worked out together.
func Begin(pts []sweep.Point, setup sweep.Setup, opt Options) (*Filter, sweep.Result, error) {
	opt.Unfinished = true
	f, r, err := fit(pts, setup, opt)
	if err != nil {
		return nil, r, err
	}
	if f.turning != nil {
		return nil, r, nil // the angles of later readings are worked out with all others
	}
	c := f.carryOn(r)
	c.aimless = !setup.Zero.Known()
	return c, r, nil
}

// Said has the filter repeat, with each of its results, a fit's result to which something was added.
func (c *Filter) Said(r sweep.Result) { c.said = r }

func (f *fitting) carryOn(said sweep.Result) *Filter {
	c := &Filter{f: f, said: said, d: f.d, l: f.levels(), courses: map[noiseLevel]*course{},
		rooms: map[noiseLevel]*solving{}}
	c.bs, c.fitted = slices.Clone(f.bs), len(f.bs)
	if f.both {
		c.along = f.along()
	}
	c.choose()
	c.out = make([]float64, c.d.cols)
	for _, k := range c.courses {
		if k.noise.together != 0 {
			for run, mates := range c.d.pair.runs {
				for i := range mates {
					k.read(run, &mates[i].b, mates[i].row, c.out)
				}
			}
			continue
		}
		for i := range c.bs {
			k.read(c.bs[i].track, &c.bs[i], c.d.rows[i], c.out)
		}
	}
	c.cut()
	c.change = c.d.over(timeSpan(c.bs))
	c.now = &solved{f.ans.best, f.coef}
	return c
}

// choose takes the grid points that are to be followed: the heaviest each for itself, and of the many light ones,
// sorted by how sure of the lean they are, one for each stretch of equal weight. So the mixture stays as wide as it
// was.
func (c *Filter) choose() {
	ps := normalise(slices.Clone(c.f.points))
	slices.SortStableFunc(ps, func(a, b point) int { return cmp.Compare(b.weight, a.weight) })
	byNoise := map[noiseLevel]float64{}
	for _, p := range ps {
		byNoise[p.h.noise()] += p.weight
	}
	for _, p := range ps { // in the order of their heaviest points, so that the same sweep gives the same digits
		key := p.h.noise()
		if c.courses[key] == nil && len(c.courses) < mostCourses && byNoise[key] > 0 {
			c.courses[key] = newCourse(c.l.noise(p.h), len(c.f.in.tracks), c.d.cols)
			c.rooms[key] = &solving{newPaces(c.l.noise(p.h), len(c.f.in.tracks), c.d.cols), newSym(c.d.cols)}
		}
	}
	alone := min(len(ps), mostPoints/2)
	if len(ps) <= mostPoints {
		alone = len(ps)
	}
	lost := 0.0 // weight of points whose noise is not followed
	for _, p := range ps[:alone] {
		if c.courses[p.h.noise()] == nil {
			lost += p.weight
			continue
		}
		c.grid = append(c.grid, followed{h: p.h})
	}
	rest := ps[alone:]
	for i := range rest {
		lost += rest[i].weight
	}
	slices.SortStableFunc(rest, func(a, b point) int { return cmp.Compare(a.cov[0]*a.cov[2], b.cov[0]*b.cov[2]) })
	each, sum := lost/float64(mostPoints-len(c.grid)), 0.0
	var stands *point
	for i := range rest {
		p := &rest[i]
		sum += p.weight
		if c.courses[p.h.noise()] != nil && (stands == nil || p.weight > stands.weight) {
			stands = p
		}
		if stands != nil && (sum >= each || i == len(rest)-1) {
			c.grid = append(c.grid, followed{stands.h, math.Log(sum / stands.weight)})
			stands, sum = nil, 0
		}
	}
}

// followed is a grid point with the log of how many times its own weight it stands for.
type followed struct {
	h     hyper
	share float64
}

// noise is what of a grid point makes the noise.
func (h hyper) noise() noiseLevel { return noiseLevel{h.tau, h.slow, h.pair} }

// cut begins the stretches where the fit's readings end.
func (c *Filter) cut() {
	in := c.f.in
	c.tracks = make([]*stretch, len(in.setup.Indicators))
	counts, limit := make([]float64, 0, len(c.bs)), 0.0
	for i := range c.bs {
		counts = append(counts, c.bs[i].n)
		limit = math.Max(limit, c.bs[i].span)
	}
	typical := median(counts)
	for k := range in.tracks {
		tr := &in.tracks[k]
		n := len(tr.th) - 1
		s := &stretch{indicator: tr.indicator, track: k, group: k, spike: in.spike, limit: limit, typical: typical,
			back:     turnBack(tr.th),
			furthest: tr.th[n], last: tr.t[n], begun: true}
		for i := range c.bs {
			if c.bs[i].track == k {
				b := &c.bs[i]
				s.before, s.group, s.dir = came{b.th - c.f.way.shift(b), b.t, b.dir, true}, b.group, b.dir
			}
		}
		c.tracks[tr.indicator] = s
	}
}

// base is the curve about which spikes are found.
func (c *Filter) base(s *stretch) func(th, t float64) float64 {
	scale := c.f.in.tracks[s.track].scale
	return func(th, t float64) float64 { return c.f.start.at(scale, th, t) }
}

// Add takes a reading that came after those of the fit. One without a usable angle is counted and left out.
func (c *Filter) Add(p sweep.Point) {
	c.readings++
	if p.Indicator < 0 || p.Indicator >= len(c.tracks) || !p.Finite() || math.Abs(p.Angle) > 6e6 {
		c.rejected++
		return
	}
	s := c.tracks[p.Indicator]
	ind := &c.f.in.setup.Indicators[p.Indicator]
	if s == nil || ind.AtEnd(p.Reading) {
		if s == nil {
			c.missing++
		}
		c.rejected++
		return
	}
	th, z := p.Angle+sweep.Radians(ind.PhaseDeg), ind.Correct(p.Reading)
	if s.flat.holds(p.T, th, z) {
		return
	}
	c.release(s)
	if f := &s.flat; f.skips {
		if f.skips = math.Abs(th-f.skipTo) < 2*segmentSpan; f.skips {
			c.rejected++
			return
		}
	}
	c.put(s, p.T, th, z)
}

func (c *Filter) put(s *stretch, t, th, z float64) {
	done, spikes := s.add(t, th, z, c.base(s))
	c.rejected += spikes
	if done != nil {
		c.take(done)
	}
}

// release takes the readings that waited, or leaves them out where the indicator stood still.
func (c *Filter) release(s *stretch) {
	f := &s.flat
	if len(f.held) == 0 {
		return
	}
	waited, z := f.held, f.z
	if c.stuck(s) {
		c.rejected += len(waited)
		f.skips, f.skipTo = true, waited[len(waited)-1].th
	} else {
		for _, h := range waited {
			c.put(s, h.t, h.th, z)
		}
	}
	f.held = waited[:0]
}

// stuck reports whether the curve has moved under readings that stood still, as dropFlats does.
func (c *Filter) stuck(s *stretch) bool {
	f := &s.flat
	if len(f.held) == 0 || c.fitted < denseSegments {
		return false
	}
	in, low, high := c.f.in, math.Inf(1), math.Inf(-1)
	to, d := f.held[len(f.held)-1].th, c.d
	for i := range 9 {
		th := f.start + (to-f.start)*float64(i)/8
		v := leanAt(c.now.coef, c.f.axes, in.tracks[s.track].scale, th) + d.formAt(d.circles[s.track], c.now.coef, th)
		low, high = math.Min(low, v), math.Max(high, v)
	}
	q := math.Max(in.setup.Indicators[s.indicator].ResolutionMM, 1e-3*in.step())
	return high-low > 2.5*q+3*c.f.start.scale
}

// take reads a finished block, or leaves it out where it is off the surface.
func (c *Filter) take(b *block) {
	c.moved(b)
	row := c.row(b)
	if c.strays(b, row) {
		c.rejected += int(b.n)
		c.off += int(b.n)
		c.strayS += b.seconds()
		return
	}
	c.strayS = 0
	for _, k := range c.courses {
		if k.noise.together == 0 {
			k.read(b.track, b, row, c.out)
		}
	}
	if c.d.pair != nil {
		c.pairs.push(mate{b: *b, row: row}, func(run int, m mate) {
			for _, k := range c.courses {
				if k.noise.together != 0 {
					k.read(run, &m.b, m.row, c.out)
				}
			}
		})
	}
	c.bs = append(c.bs, *b)
}

// moved moves a block's angle as the fit found the angles to be late.
func (c *Filter) moved(b *block) {
	if c.f.both {
		b.th += c.d.moved.shift(b)
	}
}

// row writes the row of one more block, as the fit wrote its own.
func (c *Filter) row(b *block) []float64 {
	d := *c.d
	if !c.f.both {
		d.write(c.f.in, []block{*b}, c.f.axes, nil, nil)
		return d.rows[0]
	}
	d.write(c.f.in, append(slices.Clip(c.bs), *b), c.f.axes, &c.d.moved,
		c.along) // the plunger's play depends on all before
	return d.rows[len(d.rows)-1]
}

// A block is off the surface where it lies so many standard deviations, all that is not known of the curve included,
// from what the filter foresees, and further than form or noise reach. The fit then says what it was: a slot, a chip, a
// knock, or the table.
const straySigma = 6.0

func (c *Filter) strays(b *block, row []float64) bool {
	if c.fitted < denseSegments {
		return false
	}
	e, u := c.foreseen(b, row)
	least := shallowGrains
	if c.f.both {
		least = shallowBothWaysGrains
	}
	return math.Abs(e) > math.Max(straySigma*u, least*c.f.in.grain())
}

// foreseen is by how much a block differs from what was foreseen, in mm, and the standard uncertainty of that.
func (c *Filter) foreseen(b *block, row []float64) (e, u float64) {
	p := &c.now.best
	key := p.h.noise()
	v := c.courses[key].foresee(b, row, c.rooms[key].paces, c.out)
	out := slices.Clone(c.out)
	c.change.row(out)
	last := len(out) - 1
	e = out[last]
	for j, x := range c.now.coef {
		e -= x * out[j]
	}
	u = math.Sqrt((p.s2 + p.variance(out[:last])))
	return e * math.Sqrt(v), u * math.Sqrt(v)
}
