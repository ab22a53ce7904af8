package mixed

import "math"

// dropEnds leaves out what stands at the lowest or highest reading far longer than at any other: there the indicator's
// travel ended. The round top of a slow curve on a coarse display stays up to five times longer than beside it.
func (in *input) dropEnds() {
	const longer, least = 8, 10 * math.Pi / 180
	for k := range in.tracks {
		tr := &in.tracks[k]
		low, high := math.Inf(1), math.Inf(-1)
		for _, z := range tr.z {
			low, high = min(low, z), max(high, z)
		}
		if high-low < 6*in.setup.Indicators[tr.indicator].ResolutionMM || low == high {
			continue // too few steps to tell an end from a step
		}
		var atLow, atHigh, elsewhere float64 // longest stretch, radians
		for lo := 0; lo < len(tr.z); {
			hi := lo + 1
			for hi < len(tr.z) && tr.z[hi] == tr.z[lo] {
				hi++
			}
			span := math.Abs(tr.th[hi-1] - tr.th[lo])
			switch {
			case tr.z[lo] == low && hi-lo >= flatCount:
				atLow = math.Max(atLow, span)
			case tr.z[lo] == high && hi-lo >= flatCount:
				atHigh = math.Max(atHigh, span)
			case tr.z[lo] != low && tr.z[lo] != high:
				elsewhere = math.Max(elsewhere, span)
			}
			lo = hi
		}
		for _, end := range []struct{ z, span float64 }{{low, atLow}, {high, atHigh}} {
			if end.span < least || end.span < longer*elsewhere {
				continue
			}
			// Near the end only half of the noise shows, so the readings beside it go as well.
			last := -1
			for i, z := range tr.z {
				if z != end.z {
					continue
				}
				for j := i; j >= 0 && j > last && math.Abs(tr.th[i]-tr.th[j]) < 2*segmentSpan; j-- {
					tr.why[j] = endOfTravel
				}
				for j := max(i, last+1); j < len(tr.z) && math.Abs(tr.th[j]-tr.th[i]) < 2*segmentSpan; j++ {
					tr.why[j] = endOfTravel
					last = j
				}
			}
		}
	}
}

// flatCount is how many equal readings in a row are looked at.
const flatCount = 6

// dropFlats leaves out stretches in which the reading stood still although the surface under the stylus must have moved
// it: a stuck indicator, or one at the end of its travel. It returns how many readings it dropped.
func (in *input) dropFlats(s *start) (dropped int) {
	for k := range in.tracks {
		tr := &in.tracks[k]
		q := math.Max(in.setup.Indicators[tr.indicator].ResolutionMM, 1e-3*in.step())
		low, high := math.Inf(1), math.Inf(-1)
		for _, z := range tr.z {
			low, high = min(low, z), max(high, z)
		}
		for lo := 0; lo < len(tr.z); {
			hi := lo + 1
			for hi < len(tr.z) && tr.z[hi] == tr.z[lo] {
				hi++
			}
			if hi-lo < flatCount {
				lo = hi
				continue
			}
			from, to := math.Inf(1), math.Inf(-1)
			for i := lo; i < hi; i += 1 + (hi-lo)/100 {
				v := s.at(tr.scale, tr.th[i], tr.t[i])
				from, to = math.Min(from, v), math.Max(to, v)
			}
			if to-from > 2.5*q+3*s.scale {
				why := stuck
				if high > low && (tr.z[lo] == low || tr.z[lo] == high) {
					why = endOfTravel
				}
				for i := lo; i < hi; i++ {
					tr.why[i] = why
				}
				dropped += hi - lo
			}
			lo = hi
		}
	}
	return dropped
}
