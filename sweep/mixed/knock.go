package mixed

import (
	"math"
	"slices"
)

const (
	mostKnocks = 4
	knockSD    = 100.0 // standard deviation of a jump, in those of a typical block's white noise (chosen)
	knockOdds  = -4.0  // log odds of one more jump in a sweep before the readings speak (chosen)
	knockProof = 3.0   // log odds afterwards from which a jump is taken for one: the grid that is looked at is coarse (chosen)

	leastKnock = 8.0  // display steps: smaller jumps are not told from edges of plates and lost motion (chosen)
	cancels    = 0.15 // share of the largest of several jumps that may be left of their sum if they undo each other (chosen)

	sharpSpan  = 30 * math.Pi / 180 // to each side: what is narrower and comes back is no jump
	sharpMost  = 40                 // segments
	sharpTimes = 6.0                // spreads from the middles of both sides of its neighbourhood
)

// findKnocks looks for places where the reading jumped and stayed: a knocked stylus, a slipped clamp. Each begins a new
// offset group. The model judges (see stepScan) before any arc is called off the surface: over a table with form, half
// a sweep behind a jump looks like an arc.
func findKnocks(in *input, segs []segment, s start, groups int) ([]segment, start, int) {
	for range mostKnocks {
		smooth, sharp := sharpless(in, segs, &s)
		before, after, found := in.jump(smooth, groups, &s)
		if found == noJump && sharp > 0 {
			// The robust curve may follow one side of a jump so closely that its other side looks sharp. With all in, a
			// jump may be seen, or the edge of a slot: which, is judged with what is sharp when it is taken for a jump.
			if before, after, found = in.jump(segs, groups, &s); found == aJump {
				trial := split(segs, in.firstAfter(segs, after), groups)
				t := robust(in, trial, groups+1, robustOrder)
				smooth, _ := sharpless(in, trial, &t)
				for i, g := range smooth {
					trial[i].why = g.why
					trial[i].group = segs[i].group
				}
				before, after, found = in.jump(trial, groups, &s)
			}
		}
		if found == likeAJump {
			in.maybe(&s, before, after)
			// What undoes it is sought beside it: two knocks may look like plates.
			trial := split(segs, in.firstAfter(segs, after), groups)
			t := robust(in, trial, groups+1, robustOrder)
			if b, a, more := in.jump(trial, groups+1, &t); more != noJump {
				in.maybe(&s, b, a)
			}
		}
		if found != aJump {
			break
		}
		tr := &in.tracks[after.track]
		tr.cuts = with(tr.cuts, in.jumpsAt(&s, &before, &after))
		segs, groups = in.segments(), in.groups()
		s = robust(in, segs, groups, robustOrder)
	}
	if in.dropNoJumps(&s) {
		segs, groups = in.segments(), in.groups()
		s = robust(in, segs, groups, robustOrder)
	} else if slices.ContainsFunc(in.tracks, func(tr track) bool { return len(tr.maybe) > 0 }) {
		segs = in.segments() // cut there too
	}
	return segs, s, groups
}

// maybe notes a jump between two blocks for the model to judge.
func (in *input) maybe(s *start, before, after block) {
	tr := &in.tracks[after.track]
	tr.maybe = with(tr.maybe, in.jumpsAt(s, &before, &after))
}

// with inserts a number into sorted ones.
func with(sorted []int, n int) []int {
	if i, found := slices.BinarySearch(sorted, n); !found {
		return slices.Insert(sorted, i, n)
	}
	return sorted
}

// dropNoJumps forgets jumps that bring each other to nothing, as edges of plates, slots and lost motion do and knocks
// do only by chance, and jumps too small to tell from these; it says whether there were any.
func (in *input) dropNoJumps(s *start) (dropped bool) {
	group := len(in.tracks)
	for k := range in.tracks {
		tr := &in.tracks[k]
		q := in.setup.Indicators[tr.indicator].ResolutionMM
		var sizes []float64
		was := s.offset[k]
		for range tr.cuts {
			sizes, was = append(sizes, s.offset[group]-was), s.offset[group]
			group++
		}
		var keep []int
		for i := 0; i < len(sizes); {
			end := i
			for j := len(sizes); j > i+1 && end == i; j-- {
				var sum, most float64
				for _, v := range sizes[i:j] {
					sum, most = sum+v, math.Max(most, math.Abs(v))
				}
				if math.Abs(sum) < cancels*most+q {
					end = j
				}
			}
			if end == i {
				if math.Abs(sizes[i]) >= leastKnock*q {
					keep = append(keep, tr.cuts[i])
				}
				end = i + 1
			}
			for _, cut := range tr.cuts[i:end] {
				if !slices.Contains(keep, cut) {
					tr.maybe = with(tr.maybe, cut)
				}
			}
			i = end
		}
		dropped = dropped || len(keep) < len(tr.cuts)
		tr.cuts = keep
	}
	return dropped
}

// finding is what the segments say of a jump.
type finding int

const (
	noJump    finding = iota
	likeAJump         // but something else explains it better
	aJump
)

// jump returns the blocks before and after the jump for which the segments speak most.
func (in *input) jump(segs []segment, groups int, s *start) (before, after block, found finding) {
	bs := blocks(in, segs)
	if len(bs) < denseSegments {
		return before, after, noJump
	}
	var way *direction
	if bothWays(bs) {
		way = &direction{}
	}
	along := func(b *block) (z, rise float64) {
		scale := in.tracks[b.track].scale
		return s.at(scale, b.th, s.t0), derivative(func(th float64) float64 { return s.at(scale, th, s.t0) }, b.th)
	}
	d := newDesign(in, bs, groups, [2]bool{true, true}, way, along, nil)
	d.noise2 = sq(s.scale)
	sc := stepScan{s: &searcher{d: d, bs: bs, l: newLevels(bs), known: repeatability{0.3 * in.resolution, 1},
		gram: map[noiseLevel]white{}}}
	if way != nil {
		sc.plunger = make([]float64, len(bs))
		for i := range bs {
			_, rise := along(&bs[i])
			sc.plunger[i] = math.Copysign(1, -bs[i].dir*rise)
		}
	}
	sc.run()
	switch {
	case sc.place < 0 || sc.with < sc.best+knockProof:
		return before, after, noJump
	case sc.rivals() > sc.with:
		return bs[sc.place-1], bs[sc.place], likeAJump
	}
	return bs[sc.place-1], bs[sc.place], aJump
}

// firstAfter is the first segment that belongs to a block or comes after it on its track.
func (in *input) firstAfter(segs []segment, b block) int {
	for i := range segs {
		if segs[i].track == b.track && segs[i].group == b.group && segs[i].t >= b.t-b.seconds()/2 {
			return i
		}
	}
	return len(segs) - 1
}

// split gives the segments of one group from at on a new group.
func split(segs []segment, at, group int) []segment {
	out := append([]segment(nil), segs...)
	old := out[at].group
	for i := at; i < len(out) && out[i].track == out[at].track; i++ {
		if out[i].group == old {
			out[i].group = group
		}
	}
	return out
}

// sharpless returns the segments with what stands out from both sides of its neighbourhood taken out: slots, chips.
// Beside a jump that stays, each segment agrees with one side.
func sharpless(in *input, segs []segment, s *start) (out []segment, sharp int) {
	out = append([]segment(nil), segs...)
	r, off := make([]float64, len(segs)), make([]float64, len(segs))
	inShares(len(segs), func(lo, hi int) {
		for i := lo; i < hi; i++ {
			r[i] = s.residual(in, &segs[i])
		}
	})
	side := func(i, step int, buf []float64) float64 {
		buf = buf[:0]
		for k := i + step; k >= 0 && k < len(segs) && len(buf) < sharpMost &&
			segs[k].track == segs[i].track; k += step {
			if math.Abs(segs[k].th-segs[i].th) > sharpSpan {
				break
			}
			if segs[k].n > 0 && segs[k].why == kept {
				buf = append(buf, r[k])
			}
		}
		if len(buf) < 3 {
			return math.Inf(1)
		}
		return math.Abs(r[i] - median(buf))
	}
	inShares(len(segs), func(lo, hi int) {
		buf := make([]float64, 0, sharpMost)
		for i := lo; i < hi; i++ {
			off[i] = min(side(i, -1, buf), side(i, 1, buf))
		}
	})
	seen := make([]float64, 0, len(segs))
	for _, apart := range off {
		if !math.IsInf(apart, 1) {
			seen = append(seen, apart)
		}
	}
	if len(seen) == 0 {
		return out, 0
	}
	limit := sharpTimes * math.Max(spread(seen), 0.3*in.resolution)
	for i := range segs {
		if off[i] <= limit || math.IsInf(off[i], 1) {
			continue
		}
		for k := max(0, i-1); k <= min(len(segs)-1, i+1); k++ {
			if segs[k].track == segs[i].track && out[k].why == kept {
				out[k].why = hollow
				sharp++
			}
		}
	}
	return out, sharp
}

// jumpsAt returns the first reading after the jump between two blocks.
func (in *input) jumpsAt(s *start, before, after *block) int {
	tr := &in.tracks[after.track]
	from, to := before.t-before.seconds()/2, after.t+after.seconds()/2
	lo, _ := slices.BinarySearch(tr.t, from)
	hi, _ := slices.BinarySearch(tr.t, to)
	var at []int
	var z []float64
	for i := lo; i < min(hi+1, len(tr.t)); i++ {
		if tr.why[i] == kept {
			at = append(at, i)
			z = append(z, tr.z[i]-s.at(tr.scale, tr.th[i], tr.t[i]))
		}
	}
	best, place := math.Inf(1), lo
	a, b := make([]float64, len(z)), make([]float64, len(z))
	for k := 1; k < len(z); k++ {
		copy(a, z)
		m, n := median(a[:k]), 0.0
		copy(b, z)
		q := median(b[k:])
		for i, v := range z {
			if i < k {
				n += math.Abs(v - m)
			} else {
				n += math.Abs(v - q)
			}
		}
		if n < best {
			best, place = n, at[k]
		}
	}
	return place
}

// groups is the number of offsets: one a track, and one more for each jump.
func (in *input) groups() (n int) {
	for k := range in.tracks {
		n += 1 + len(in.tracks[k].cuts)
	}
	return n
}
