package mixed

import (
	"math"
	"slices"
)

// code is why a reading was left out.
type code uint8

const (
	kept code = iota
	duplicate
	stuck
	endOfTravel
	spikeUp
	spikeDown
	raised
	hollow
)

var codeNames = [...]string{"", "duplicate", "stuck", "end_of_travel", "spike_up", "spike_down", "raised", "hollow"}

const (
	segmentSpan  = 1.6 * math.Pi / 180 // of the circle
	segmentCount = 25                  // readings
	sameStation  = 0.5 * math.Pi / 180 // readings closer than this in angle were taken at one station
)

// segment is a short stretch of consecutive readings of one track, short enough that the surface under it is straight.
// It is the unit in which arcs are judged.
type segment struct {
	track, lo, hi int     // readings [lo, hi) of the track
	t, th, z      float64 // middle of the readings still kept: medians at first, so that one chip does not move them
	span          float64 // radians covered
	dir           float64 // +1 counter-clockwise, -1 clockwise, 0 not known
	fresh         bool    // a jump that the model has yet to judge lies before it: no block goes across
	group         int     // offset group: a new one begins where the stylus was knocked
	n             int     // readings kept
	runs          int     // stretches of equal readings among them: each is rounded once
	why           code
}

// findWays finds which way round the arm went at each reading.
func (in *input) findWays() {
	for k := range in.tracks {
		in.tracks[k].way = directions(in.tracks[k].th)
	}
}

// segments cuts every track.
func (in *input) segments() []segment {
	n := 0
	for k := range in.tracks {
		n += len(in.tracks[k].t)
	}
	out := make([]segment, 0, n/16+64)
	group := len(in.tracks)
	for k := range in.tracks {
		tr := &in.tracks[k]
		way := tr.way
		own, cuts := k, tr.cuts // the first offset of each track comes before those after jumps
		for lo := 0; lo < len(tr.t); {
			if len(cuts) > 0 && cuts[0] <= lo {
				own, cuts = group, cuts[1:]
				group++
			}
			end := len(tr.t)
			if len(cuts) > 0 {
				end = cuts[0]
			}
			next, fresh := slices.BinarySearch(tr.maybe, lo)
			if fresh {
				next++
			}
			if next < len(tr.maybe) {
				end = min(end, tr.maybe[next])
			}
			hi := lo + 1
			for hi < end && hi-lo < segmentCount && way[hi] == way[lo] && math.Abs(tr.th[hi]-tr.th[lo]) <= segmentSpan {
				hi++
			}
			s := segment{track: k, lo: lo, hi: hi, fresh: fresh, group: own, dir: float64(way[lo])}
			s.span = math.Abs(tr.th[hi-1] - tr.th[lo])
			out = append(out, s)
			lo = hi
		}
	}
	inShares(len(out), func(lo, hi int) {
		var buf []float64
		for i := lo; i < hi; i++ {
			buf = out[i].middle(&in.tracks[out[i].track], buf)
		}
	})
	return out
}

// How far the angle must go back before the sweep is said to have turned: an encoder at rest trembles, and one with
// noise does so all the time.
const (
	turnedBack     = 0.5 * math.Pi / 180
	turnedBackMost = 4 * math.Pi / 180
	trembles       = 6.0 // standard deviations of the angles' noise
)

// turnBack is that angle for a track. Noise of its angles shows in how far one is off from the middle of its
// neighbours, twice which has six times its variance; a turning by hand is smooth from reading to reading.
func turnBack(th []float64) float64 {
	if len(th) < denseSegments {
		return turnedBack
	}
	off := make([]float64, len(th)-2)
	for i := range off {
		off[i] = math.Abs(th[i] - 2*th[i+1] + th[i+2])
	}
	return math.Min(math.Max(turnedBack, trembles*toSD*median(off)/math.Sqrt(6)), turnedBackMost)
}

// directions says for every reading which way round the spindle was going: +1, -1, or 0 if it never moved.
func directions(th []float64) []int8 {
	out := make([]int8, len(th))
	var dir int8
	furthest, back := 0, turnBack(th)
	for i, a := range th {
		d := a - th[furthest]
		switch {
		case dir == 0 && math.Abs(d) > back:
			dir = int8(math.Copysign(1, d))
			for j := range i {
				out[j] = dir
			}
			furthest = i
		case dir != 0 && d*float64(dir) >= 0:
			furthest = i
		case dir != 0 && math.Abs(d) > back:
			dir = -dir
			for j := furthest + 1; j < i; j++ {
				out[j] = dir
			}
			furthest = i
		}
		out[i] = dir
	}
	return out
}

// middle sets the segment's place to the median of its kept readings.
func (s *segment) middle(tr *track, buf []float64) []float64 {
	buf = buf[:0]
	s.t, s.th, s.n = 0, 0, 0
	for i := s.lo; i < s.hi; i++ {
		if tr.why[i] == kept {
			buf = append(buf, tr.z[i])
			s.t += tr.t[i]
			s.th += tr.th[i]
			s.n++
		}
	}
	if s.n == 0 {
		if s.why == kept {
			s.why = tr.why[s.lo]
		}
		s.t, s.th, s.z = tr.t[s.lo], tr.th[s.lo], tr.z[s.lo]
		return buf
	}
	s.t /= float64(s.n)
	s.th /= float64(s.n)
	s.z = median(buf)
	return buf
}

// mean sets the segment's place to the mean of its kept readings.
func (s *segment) mean(tr *track) {
	s.t, s.th, s.z, s.n, s.runs = 0, 0, 0, 0, 0
	last := math.NaN()
	for i := s.lo; i < s.hi; i++ {
		if tr.why[i] == kept {
			s.t += tr.t[i]
			s.th += tr.th[i]
			s.z += tr.z[i]
			s.n++
			if tr.z[i] != last {
				s.runs++
			}
			last = tr.z[i]
		}
	}
	if n := float64(s.n); n > 0 {
		s.t, s.th, s.z = s.t/n, s.th/n, s.z/n
	}
}

// toSD makes the median absolute value of normal noise about zero its standard deviation.
const toSD = 1.4826

// spread is the standard deviation of normal noise about zero of the same median absolute value as x.
func spread(x []float64) float64 {
	a := make([]float64, len(x))
	for i, v := range x {
		a[i] = math.Abs(v)
	}
	return toSD * median(a)
}
