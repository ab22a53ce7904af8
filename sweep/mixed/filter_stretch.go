package mixed

import (
	"math"
	"slices"
)

// stretch makes blocks of one track's readings as they come, by the rules by which segments and blocks are cut from a
// whole sweep.
type stretch struct {
	indicator int
	track     int
	group     int
	spike     float64 // mm: a reading further from the middle of its segment is left out; 0: none is
	limit     float64 // radians: how wide a block may be
	typical   float64 // readings in a block
	back      float64 // radians: a turning that goes back less still goes on

	t, th, z []float64 // the segment that is being read
	open     openBlock
	before   came // the block before

	flat flat

	dir      float64
	furthest float64
	begun    bool
	last     float64 // time of the last reading
}

// came is where a block was by its angle as it was read: the model moves the angles of blocks, and a rate between a
// moved one and one that is not yet would be wrong by all of that.
type came struct {
	th, t, dir float64
	known      bool
}

// flat is a stretch of equal readings. They wait until it is over: whether the indicator stood still, or has come to
// the end of its travel, shows only then.
type flat struct {
	last, from float64 // the newest reading, and the angle at which it came first
	n          int
	held       []held  // those that wait, all
	z, start   float64 // of this reading, which came first at this angle
	skipTo     float64 // angle near which readings beside an end of the travel are left out
	skips      bool
}

type held struct{ t, th float64 }

// mostHeld bounds what waits: an arm at rest reads the same for ever.
const mostHeld = 3000

// holds reports whether a reading is to wait.
func (f *flat) holds(t, th, z float64) bool {
	if z != f.last || f.n == 0 {
		f.last, f.from, f.n = z, th, 1
		return false
	}
	f.n++
	if f.n <= flatCount || len(f.held) >= mostHeld {
		return false
	}
	f.held, f.z, f.start = append(f.held, held{t, th}), z, f.from
	return true
}

// openBlock is a block whose end has not come.
type openBlock struct {
	block
	lo, hi, lastTh float64
	segments       int
}

// add takes a reading. It gives the block that this one ended, nil where it goes on, and how many readings were spikes.
func (s *stretch) add(t, th, z float64, base func(th, t float64) float64) (done *block, spikes int) {
	if s.begun && t < s.last {
		t = s.last // the order of the readings is the truth
	}
	s.turn(th)
	s.last, s.begun = t, true
	if n := len(s.th); n > 0 && (n >= segmentCount || math.Abs(th-s.th[0]) > segmentSpan || s.turnedBack()) {
		done, spikes = s.close(base)
	}
	s.t, s.th, s.z = append(s.t, t), append(s.th, th), append(s.z, z)
	return done, spikes
}

// turn follows the way round.
func (s *stretch) turn(th float64) {
	if !s.begun {
		s.furthest = th
		return
	}
	switch d := th - s.furthest; {
	case s.dir == 0 && math.Abs(d) > s.back:
		s.dir, s.furthest = math.Copysign(1, d), th
	case s.dir != 0 && d*s.dir >= 0:
		s.furthest = th
	case s.dir != 0 && math.Abs(d) > s.back:
		s.dir, s.furthest = -s.dir, th
	}
}

func (s *stretch) turnedBack() bool { return s.open.segments > 0 && s.open.dir != s.dir }

// close ends the segment and joins it to the open block, or ends that too where the segment does not belong to it.
func (s *stretch) close(base func(th, t float64) float64) (done *block, spikes int) {
	g, spikes := s.segment(base)
	s.t, s.th, s.z = s.t[:0], s.th[:0], s.z[:0]
	if g.n == 0 {
		return nil, spikes
	}
	if !s.open.takes(&g, s.limit) {
		done = s.finish()
	}
	s.open.join(&g)
	return done, spikes
}

// segment returns the mean of the readings at hand, spikes left out.
func (s *stretch) segment(base func(th, t float64) float64) (g openBlock, spikes int) {
	g.track, g.group, g.dir = s.track, s.group, s.dir
	n := len(s.th)
	out := make([]bool, n)
	if s.spike > 0 && n >= 3 {
		z0, slope, span := base(s.th[0], s.t[0]), 0.0, s.th[n-1]-s.th[0]
		if span != 0 {
			slope = (base(s.th[n-1], s.t[0]) - z0) / span
		}
		off := make([]float64, n)
		for i := range off {
			off[i] = s.z[i] - z0 - slope*(s.th[i]-s.th[0])
		}
		mid := median(append([]float64(nil), off...))
		for i := range off {
			if math.Abs(off[i]-mid) > s.spike {
				out[i] = true
				spikes++
			}
		}
	}
	last := math.NaN()
	for i := range n {
		if out[i] {
			continue
		}
		g.t, g.th, g.z, g.n = g.t+s.t[i], g.th+s.th[i], g.z+s.z[i], g.n+1
		if s.z[i] != last {
			g.runs++
		}
		last = s.z[i]
	}
	if g.n > 0 {
		g.t, g.th, g.z = g.t/g.n, g.th/g.n, g.z/g.n
		half := math.Abs(s.th[n-1]-s.th[0]) / 2
		g.lo, g.hi, g.lastTh, g.segments = g.th-half, g.th+half, g.th, 1
	}
	return g, spikes
}

func (b *openBlock) takes(g *openBlock, limit float64) bool {
	return b.n == 0 || g.dir == b.dir && math.Max(b.hi, g.hi)-math.Min(b.lo, g.lo) <= math.Max(limit, sameStation) &&
		math.Abs(g.th-b.lastTh) <= 2*segmentSpan
}

func (b *openBlock) join(g *openBlock) {
	if b.n == 0 {
		*b = *g
		return
	}
	w := b.n + g.n
	b.t, b.th, b.z = (b.n*b.t+g.n*g.t)/w, (b.n*b.th+g.n*g.th)/w, (b.n*b.z+g.n*g.z)/w
	b.n, b.runs = w, b.runs+g.runs
	b.lo, b.hi, b.lastTh = math.Min(b.lo, g.lo), math.Max(b.hi, g.hi), g.lastTh
	b.segments++
}

// finish returns the open block as the model sees it, and begins another.
func (s *stretch) finish() *block {
	b := s.shape(&s.open)
	s.before, s.open = came{b.th, b.t, b.dir, true}, openBlock{}
	return &b
}

// shape gives an open block its width, noise and rate.
func (s *stretch) shape(o *openBlock) block {
	b := o.block
	b.span = o.hi - o.lo
	b.noise = 1
	if b.span >= sameStation {
		b.noise = crowding + (1-crowding)*s.typical/b.n
	}
	if s.before.known && s.before.dir == b.dir && b.t != s.before.t {
		b.rate = (b.th - s.before.th) / (b.t - s.before.t)
	}
	return b
}

// now returns what has been read since the last finished block, as blocks; the stretch itself stays where it is.
// Readings that wait count too where wait says so.
func (s *stretch) now(base func(th, t float64) float64, wait bool) (bs []block, spikes int) {
	trial := *s
	trial.t, trial.th, trial.z = slices.Clone(s.t), slices.Clone(s.th), slices.Clone(s.z)
	if wait {
		for _, h := range s.flat.held {
			done, n := trial.add(h.t, h.th, s.flat.z, base)
			spikes += n
			if done != nil {
				bs = append(bs, *done)
			}
		}
	}
	if len(trial.th) > 0 {
		rest, n := trial.segment(base)
		spikes += n
		if rest.n > 0 {
			if !trial.open.takes(&rest, s.limit) {
				bs = append(bs, *trial.finish())
			}
			trial.open.join(&rest)
		}
	}
	if trial.open.n > 0 {
		bs = append(bs, *trial.finish())
	}
	return bs, spikes
}
