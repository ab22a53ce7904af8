package travel

import (
	"tramd/sweep"
	"tramd/sweep/line"
)

// Model and ModelVersion name what concluded a result.
const (
	Model        = "lines"
	ModelVersion = 2
)

// What the indicator touches.
const (
	OfBar    = "bar"
	OfSquare = "square"
	OfTable  = "table"
)

// Relation is what a measurement of the given thing says.
func Relation(of string) string {
	return map[string]string{OfBar: "spindle_to_travel", OfSquare: "travel_to_table", OfTable: "cross_to_table"}[of]
}

// Pair is tilt and nod; what was not measured is nil.
type Pair struct {
	Tilt *sweep.Axis `json:"tilt"`
	Nod  *sweep.Axis `json:"nod"`
}

// Lengths is a length in each plane; what was not measured is nil.
type Lengths struct {
	Tilt *float64 `json:"tilt"`
	Nod  *float64 `json:"nod"`
}

// Result is what a travel says; its names are a contract.
type Result struct {
	Kind          string           `json:"kind"` // travel or cross
	Of            string           `json:"of"`
	Relation      string           `json:"relation"`
	Tilt          *sweep.Axis      `json:"tilt"`
	Nod           *sweep.Axis      `json:"nod"`
	Artefact      *Pair            `json:"artefact"`
	StraightMM    Lengths          `json:"straightness_mm"`
	StraightUMM   Lengths          `json:"straightness_U_mm"`
	LengthMM      float64          `json:"length_mm"`
	RMSMM         *float64         `json:"residual_rms_mm"`
	TaperMMPerM   *float64         `json:"taper_mm_per_m,omitempty"` // by how much the artefact grows thinner towards +, from opposite sides
	CorrelationTN *float64         `json:"correlation,omitempty"`    // of tilt and nod
	Profile       []Place          `json:"profile"`
	Readings      int              `json:"readings"`
	Rejected      int              `json:"rejected"`
	Rejections    []line.Rejection `json:"rejections,omitempty"`
	Verdict       sweep.Verdict    `json:"verdict"`
	Warnings      []sweep.Warning  `json:"warnings"`
	Model         string           `json:"model"`
	ModelVersion  int              `json:"model_version"`
}

// Place is one point of the picture: how far the travel departs from straight in one plane.
type Place struct {
	Axis       string  `json:"axis"`
	PositionMM float64 `json:"position_mm"`
	MM         float64 `json:"mm"`
}
