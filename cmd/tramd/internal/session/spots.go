package session

import (
	"maps"
	"math"

	"tramd/sweep"
)

// Spots say where readings were taken, one after the other.
type Spots struct {
	Places []Place
	At     []int     // of each reading, its place
	MM     []float64 // of each reading, where a moving axis stood; nil: at its place
}

// Place returns where a reading was taken.
func (s *Spots) Place(i int) Place {
	p := s.Places[s.At[i]]
	if s.MM != nil {
		p.At, p.Numbers = s.MM[i], maps.Clone(p.Numbers)
		if p.Numbers == nil {
			p.Numbers = map[string]float64{}
		}
		p.Numbers["position_mm"] = s.MM[i]
	}
	return p
}

// spots returns kept points from number first on, as the store takes them, and the place of each; no places for a
// sweep.
func (j *job) spots(first int, pts []sweep.Point) ([]sweep.Point, *Spots) {
	switch {
	case j.measured == nil:
		return pts, nil
	case j.stations() != nil:
		return pts, &Spots{Places: j.measured.Places, At: j.at[first : first+len(pts) : first+len(pts)]}
	}
	c := j.source.(*course)
	return spread(c.places, c.stretches, first, pts, false)
}

// spread takes the positions of a course's points out of their angles, where the session keeps them. With counting it
// leaves out what counts no longer.
func spread(places []Place, stretches []stretch, first int, pts []sweep.Point, counting bool) ([]sweep.Point, *Spots) {
	out := make([]sweep.Point, 0, len(pts))
	where := &Spots{Places: places, At: make([]int, 0, len(pts)), MM: make([]float64, 0, len(pts))}
	k := 0
	for i, p := range pts {
		for k+1 < len(stretches) && stretches[k+1].first <= first+i {
			k++
		}
		if counting && stretches[k].void {
			continue
		}
		where.At, where.MM = append(where.At, stretches[k].leg), append(where.MM, p.Angle)
		p.Angle = math.NaN()
		out = append(out, p)
	}
	return out, where
}
