package traverse

import (
	"tramd/sweep"
	"tramd/sweep/line"
)

// Model and ModelVersion name what concluded a result.
const (
	Model        = "lines"
	ModelVersion = 2
)

// Result is what a traverse says; its names are a contract.
type Result struct {
	Kind         string           `json:"kind"` // traverse or cross
	Relation     string           `json:"relation,omitempty"`
	Slope        *sweep.Axis      `json:"slope"`
	Straightness *Straightness    `json:"straightness"`
	BendMM       float64          `json:"bend_mm"`
	LengthMM     float64          `json:"length_mm"`
	Lines        []Line           `json:"lines"`
	Twist        *sweep.Axis      `json:"twist"`
	CrossSlope   *sweep.Axis      `json:"cross_slope"`
	Flatness     *Flatness        `json:"flatness"`
	EdgeForm     []EdgeForm       `json:"edge_form"`
	EdgeSlope    *sweep.Axis      `json:"edge_slope,omitempty"` // of the edge against the way, as laid; only with a turned edge
	Same         *Same            `json:"same,omitempty"`
	ClosureMM    *float64         `json:"closure_mm"`
	RMSMM        *float64         `json:"residual_rms_mm"`
	Profile      []Place          `json:"profile"`
	Readings     int              `json:"readings"`
	Rejected     int              `json:"rejected"`
	Rejections   []line.Rejection `json:"rejections,omitempty"`
	Verdict      sweep.Verdict    `json:"verdict"`
	Warnings     []sweep.Warning  `json:"warnings"`
	Model        string           `json:"model"`
	ModelVersion int              `json:"model_version"`
}

// Straightness is how far the readings depart from a straight line.
type Straightness struct {
	LeastSquares float64       `json:"least_squares_mm"`
	MinimumZone  float64       `json:"minimum_zone_mm"`
	EndPoints    float64       `json:"end_points_mm"`
	U            float64       `json:"U_mm"`
	Verdict      sweep.Verdict `json:"verdict"` // on the minimum zone
}

// Line is one line of several.
type Line struct {
	AtMM         float64       `json:"at_mm"`
	Slope        *sweep.Axis   `json:"slope"` // null for a single position
	Straightness *Straightness `json:"straightness"`
	BendMM       float64       `json:"bend_mm"`
}

// Flatness is how far all lines together depart from a plane.
type Flatness struct {
	LeastSquares float64       `json:"least_squares_mm"`
	MinimumZone  float64       `json:"minimum_zone_mm"`
	U            float64       `json:"U_mm"`
	Verdict      sweep.Verdict `json:"verdict"`
}

// EdgeForm is how the edge itself departs from straight at one place.
type EdgeForm struct {
	PositionMM float64 `json:"position_mm"`
	MM         float64 `json:"mm"`
	U          float64 `json:"u_mm"`
}

// Same compares positions with each other: the largest reading less the smallest.
type Same struct {
	RangeMM    float64       `json:"range_mm"`
	U          float64       `json:"U_mm"`
	LargestAt  float64       `json:"largest_at_mm"`
	SmallestAt float64       `json:"smallest_at_mm"`
	Verdict    sweep.Verdict `json:"verdict"`
}

// Place is one point of the picture: a mean reading less the straight line of its line.
type Place struct {
	LineMM     float64 `json:"line_mm"`
	PositionMM float64 `json:"position_mm"`
	MM         float64 `json:"mm"`      // as read
	FormMM     float64 `json:"form_mm"` // less the least-squares line
}
