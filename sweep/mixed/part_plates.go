package mixed

import (
	"cmp"
	"math"
	"slices"
)

// coarseEdge is how far apart edges of plates are tried at first; near the best ones they are tried more finely.
const coarseEdge = 5 * math.Pi / 180

// likeliestPlates tries tables of two to mostEdges plates: edges where one alone is worth most, then the sets of them
// whose heights add up to nothing round the circle.
func (f *fitting) likeliestPlates(sc *flawScan) (part, float64) {
	type place struct{ angle, worth float64 }
	write := func(angle float64) {
		for i := range f.bs {
			sc.column[i] = edgeAt(&f.bs[i], angle)
		}
	}
	try := func(angle float64) place {
		write(angle)
		return place{angle, sc.worth()}
	}
	var all []place
	for a := 0.0; a < 2*math.Pi-coarseEdge/2; a += coarseEdge {
		all = append(all, try(a))
	}
	slices.SortStableFunc(all, func(a, b place) int { return cmp.Compare(b.worth, a.worth) })
	angles := f.maybeEdges()
	for _, p := range all[:edgePlaces] {
		for _, off := range []float64{-0.5, -0.25, 0.25, 0.5} {
			if q := try(p.angle + off*coarseEdge); q.worth > p.worth {
				p = q
			}
		}
		near := func(a float64) bool { return math.Abs(math.Remainder(a-p.angle, 2*math.Pi)) < coarseEdge/2 }
		if !slices.ContainsFunc(angles, near) {
			angles = append(angles, p.angle)
		}
	}
	own, shown := sc.together(len(angles), func(a int) { write(angles[a]) })
	tried := 8 * math.Pi / coarseEdge
	set, worth := edgeSet(len(angles), func(set []int) float64 {
		return heights(own, shown, set, sc.at.s2*sc.at.dof, sc.at.dof, int(tried))
	})
	p := part{kind: plates, sizeMM: knockSD * math.Sqrt(sc.at.s2)}
	p.odds = plateOdds - float64(len(set))*math.Log(tried)
	for _, k := range set {
		p.edges = append(p.edges, angles[k])
	}
	return p, worth + float64(len(set))*math.Log(tried) // its places are in the odds
}

// maybeEdges returns the angles of the jumps that were seen and not taken for knocks: no block goes across them, so
// they are known to a reading.
func (f *fitting) maybeEdges() (angles []float64) {
	for k := range f.in.tracks {
		tr := &f.in.tracks[k]
		for _, i := range tr.maybe {
			angles = append(angles, (tr.th[max(i-1, 0)]+tr.th[i])/2)
		}
	}
	return angles[:min(len(angles), edgePlaces)]
}

// smallJumps proposes jumps that were seen and not taken for knocks, being small, or undone later, or of a kind with
// plates: all of a track together, each alone, and two that undo
// each other.
func (f *fitting) smallJumps() (out []part) {
	for k := range f.in.tracks {
		tr := &f.in.tracks[k]
		var maybe []float64
		for _, i := range tr.maybe[:min(len(tr.maybe), partColumns)] {
			maybe = append(maybe, (tr.t[max(i-1, 0)]+tr.t[i])/2)
		}
		for i := range maybe {
			out = append(out, f.jumpsOf(k, maybe[i:i+1]))
			for j := range i {
				p := f.jumpsOf(k, []float64{maybe[j], maybe[i]})
				p.back, p.odds = true, p.odds-2*knockOdds+backOdds
				out = append(out, p)
			}
		}
		if len(maybe) > 1 {
			out = append(out, f.jumpsOf(k, maybe))
		}
	}
	return slices.DeleteFunc(out, func(p part) bool {
		return slices.ContainsFunc(f.parts, func(q part) bool { return q.kind == jumps && q.track == p.track })
	})
}

func (f *fitting) jumpsOf(track int, times []float64) part {
	odds := float64(len(times)) * (knockOdds - math.Log(float64(len(f.bs))))
	return part{kind: jumps, track: track, times: times, sizeMM: knockSD * math.Sqrt(f.ans.best.s2), odds: odds}
}
