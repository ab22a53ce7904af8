package line

import (
	"cmp"
	"math"
	"slices"

	"tramd/sweep/mixed"
	"tramd/sweep/zone"
)

const (
	samePlace   = 1.0 / 700 // of the length: looks nearer than this are at one place
	manyLooks   = 110       // more than this are not places but a course, and are
	coursePlace = 1.0 / 130 // of the length joined
	draws       = 200       // of the noise
	coverage    = 0.95
)

// Part is curves that saw the same form, with the share in which their profile goes into the whole.
type Part struct {
	Curves []int
	Share  float64
}

// term is the share of one look.
type term struct {
	look  int
	share float64
}

// Profile is heights at places along a line, each a linear sum of looks.
type Profile struct {
	X    []float64
	rows [][]term
}

// NewProfile joins the looks of each part by place, and adds the parts up at the places of the first.
func NewProfile(fit *mixed.LineFit, parts []Part) *Profile {
	var all *Profile
	for _, part := range parts {
		p := partProfile(fit, part.Curves)
		if len(p.X) == 0 {
			continue
		}
		if all == nil {
			all = p
			for _, row := range all.rows {
				for i := range row {
					row[i].share *= part.Share
				}
			}
			continue
		}
		for i, x := range all.X {
			for _, t := range p.at(x) {
				all.rows[i] = append(all.rows[i], term{t.look, t.share * part.Share})
			}
		}
	}
	if all == nil {
		all = &Profile{}
	}
	return all
}

func partProfile(fit *mixed.LineFit, curves []int) *Profile {
	var looks []int
	for i := range fit.Looks {
		if slices.Contains(curves, fit.Looks[i].Curve) {
			looks = append(looks, i)
		}
	}
	x := func(i int) float64 { return fit.Looks[i].X }
	slices.SortStableFunc(looks, func(a, b int) int { return cmp.Compare(x(a), x(b)) })
	within := samePlace
	if len(looks) > manyLooks {
		within = coursePlace
	}
	within *= fit.ToMM - fit.FromMM
	p := &Profile{}
	for lo := 0; lo < len(looks); {
		hi := lo + 1
		for hi < len(looks) && x(looks[hi])-x(looks[lo]) <= within {
			hi++
		}
		var row []term
		var n, place float64
		standing := fit.Standing()
		weight := func(i int) float64 {
			if standing { // a look is one look, however long it took
				return 1
			}
			return fit.Looks[i].N
		}
		for _, i := range looks[lo:hi] {
			n += weight(i)
			place += weight(i) * x(i)
		}
		for _, i := range looks[lo:hi] {
			row = append(row, term{i, weight(i) / n})
		}
		p.X, p.rows = append(p.X, place/n), append(p.rows, row)
		lo = hi
	}
	return p
}

// at is the profile between its places, on a straight line between the two beside.
func (p *Profile) at(x float64) []term {
	n := len(p.X)
	k, _ := slices.BinarySearch(p.X, x)
	switch {
	case k == 0:
		return p.rows[0]
	case k == n:
		return p.rows[n-1]
	}
	f := (x - p.X[k-1]) / (p.X[k] - p.X[k-1])
	var out []term
	for _, t := range p.rows[k-1] {
		out = append(out, term{t.look, t.share * (1 - f)})
	}
	for _, t := range p.rows[k] {
		out = append(out, term{t.look, t.share * f})
	}
	return out
}

// Values sums heights of the looks.
func (p *Profile) Values(looks, out []float64) []float64 {
	out = out[:0]
	for _, row := range p.rows {
		z := 0.0
		for _, t := range row {
			z += t.share * looks[t.look]
		}
		out = append(out, z)
	}
	return out
}

// Heights are the looks' own, each curve of a part with several brought to the height of the first.
func Heights(fit *mixed.LineFit, together ...[]int) []float64 {
	shift := map[int]float64{}
	for _, curves := range together {
		for _, c := range curves {
			shift[c] = fit.Height(c) - fit.Height(curves[0])
		}
	}
	out := make([]float64, len(fit.Looks))
	for i := range out {
		out[i] = fit.Looks[i].MM - shift[fit.Looks[i].Curve]
	}
	return out
}

// Straightness is a form by its three reference lines, in mm.
type Straightness struct {
	LeastSquares, MinimumZone, EndPoints float64
	U                                    float64 // expanded, for the one that is least certain
}

// Measures of a profile.
func measures(s *zone.Solver, x, z []float64) [3]float64 {
	return [3]float64{zone.LeastSquares(x, z).Height, s.Line(x, z).Height, zone.EndPoints(x, z).Height}
}

// StraightnessOf measures profiles, each by itself, and says which departs most. The uncertainty comes of drawing the
// noise again and again onto the fitted curve: a distance of extremes grows with the noise, and is no linear sum of
// readings; and the largest of several is the one that the noise helped. A profile of fewer than three places shows
// nothing of its form: nil.
func StraightnessOf(fit *mixed.LineFit, profiles []*Profile, heights []float64, edgeMPE float64) (each []*Straightness,
	most *Straightness) {
	var s zone.Solver
	each = make([]*Straightness, len(profiles))
	var z []float64
	for k, p := range profiles {
		if len(p.X) < 3 { // through two places goes a line
			continue
		}
		z = p.Values(heights, z)
		own := measures(&s, p.X, z)
		each[k] = &Straightness{LeastSquares: own[0], MinimumZone: own[1], EndPoints: own[2]}
		if most == nil || own[1] > most.MinimumZone {
			worst := *each[k]
			most = &worst
		}
	}
	if most == nil {
		return each, nil
	}
	all := append(each[:len(each):len(each)], most)
	drawn := make([][3][]float64, len(all))
	Drawn(fit, func(looks []float64) {
		var largest [3]float64
		for k, p := range profiles {
			if each[k] == nil {
				continue
			}
			z = p.Values(looks, z)
			for m, v := range measures(&s, p.X, z) {
				drawn[k][m] = append(drawn[k][m], v)
				largest[m] = math.Max(largest[m], v)
			}
		}
		for m, v := range largest {
			drawn[len(each)][m] = append(drawn[len(each)][m], v)
		}
	})
	for k, s := range all {
		for m := range drawn[k] {
			if s != nil {
				s.U = math.Max(s.U, Expand(fit, drawn[k][m], edgeMPE))
			}
		}
	}
	return each, most
}

// Drawn calls f with each draw of the noise laid on the fitted curve, and, first of all, with the curve itself.
func Drawn(fit *mixed.LineFit, f func(looks []float64)) {
	fitted := fit.Fitted()
	f(fitted)
	looks := make([]float64, len(fitted))
	r := fit.Replicas()
	for range draws {
		r.Draw(looks)
		for i := range looks {
			looks[i] += fitted[i]
		}
		f(looks)
	}
}

// Expand returns the expanded uncertainty of a distance of extremes, of which the first value is that of the fitted
// curve and the rest those of the draws; and of what every draw has in common: the indicator's errors and the form of
// the edge, each rectangular.
func Expand(fit *mixed.LineFit, drawn []float64, edgeMPE float64) float64 {
	off := make([]float64, len(drawn)-1)
	for i, v := range drawn[1:] {
		off[i] = math.Abs(v - drawn[0])
	}
	slices.Sort(off)
	return math.Hypot(off[int(coverage*float64(len(off)))], 1.65*math.Hypot(edgeMPE, fit.IndicatorMPE())/math.Sqrt(3))
}

// Bend is the height of the middle above the chord, by a parabola, in mm.
func Bend(x, z []float64) float64 {
	if len(x) < 3 {
		return 0
	}
	line := zone.LeastSquares(x, z)
	lo, hi := slices.Min(x), slices.Max(x)
	mid, half := (lo+hi)/2, (hi-lo)/2
	// The parabola less its own least-squares line is what a bend looks like to the rest.
	u := make([]float64, len(x))
	for i := range x {
		t := (x[i] - mid) / half
		u[i] = t * t
	}
	own := zone.LeastSquares(x, u)
	var uu, uz float64
	for i := range x {
		d := u[i] - own.At - own.Slope*x[i]
		uu += d * d
		uz += d * (z[i] - line.At - line.Slope*x[i])
	}
	if !(uu > 1e-12) {
		return 0
	}
	return -uz / uu
}
