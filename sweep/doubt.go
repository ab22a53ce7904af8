package sweep

import "math"

// Doubt is a stretch of a run whose spindle angles turned out not to be believed, after the readings had been taken.
// The readings and their angles are kept as they were measured; a fit takes the angle as not known.
type Doubt struct {
	Code  string  `json:"code"`
	FromS float64 `json:"from_s"` // readings from this time to ToS, both included
	ToS   float64 `json:"to_s"`
	Text  string  `json:"text"`
}

// Codes of doubts; they never change their meaning.
const (
	DoubtMissedCounts = "missed_counts" // the encoder lost counts
	DoubtRedone       = "redone"        // a station was taken again
	DoubtTurnsDiffer  = "turns_differ"  // one turn's readings lie turned against another's
)

// Believed returns the points with the angle of every doubted one unknown. Without doubts it gives pts themselves,
// otherwise a copy.
func Believed(pts []Point, doubts []Doubt) []Point {
	if len(doubts) == 0 {
		return pts
	}
	out := make([]Point, len(pts))
	for i, p := range pts {
		for _, d := range doubts {
			if p.T >= d.FromS && p.T <= d.ToS {
				p.Angle = math.NaN()
			}
		}
		out[i] = p
	}
	return out
}

// WarnDoubts adds to a result what its reader must know of the doubts.
func (r *Result) WarnDoubts(doubts []Doubt) {
	for _, d := range doubts {
		if d.Code != DoubtRedone { // the person knows
			r.Warnings = append(r.Warnings, Warning{Code: d.Code, Text: d.Text})
		}
	}
}
