package sweep

import (
	"tramd/sweep/uncertainty"
	"tramd/sweep/units"
)

// Verdict is the decision on a tolerance.
type Verdict string

// Verdicts. Undecided means the interval straddles the limit; None that no tolerance was given.
const (
	Within    Verdict = "within"
	Outside   Verdict = "outside"
	Undecided Verdict = "undecided"
	None      Verdict = "none"
)

// Axis is the lean on one axis with its uncertainty.
type Axis struct {
	Slope    units.Slope // positive: the upper end leans to + on this axis
	U        units.Slope // standard uncertainty
	Expanded units.Slope // half width of the interval that covers the truth in 95 % of cases
	Verdict  Verdict
	// Conformity is the probability that the truth lies within the tolerance; nil without a tolerance or when not
	// computed.
	Conformity *float64
	Budget     uncertainty.Budget // nil when not computed
}

// Lean is tilt and nod together.
type Lean struct {
	Slope   units.Slope // size, never negative
	Azimuth float64     // radians in [0, 2π): the way the upper end leans, counter-clockwise from +X; NaN: not known

	U, Expanded units.Slope // of the size; stated only where the direction is not known
}

// Warning is something the reader of a result must know; Code is for programs and never changes its meaning.
type Warning struct {
	Code string `json:"code"`
	Text string `json:"text"`
}

// Result is what one sweep says. A nil Axis was not measured.
type Result struct {
	Model          string // "plain" or "full"
	ModelVersion   int
	Tilt, Nod      *Axis
	Lean           *Lean     // nil unless both axes were measured
	OffsetMM       []float64 // per indicator: the reading at zero lean
	ClosureMM      float64   // last minus first reading at the same angle; NaN when the sweep did not come back
	ResidualRMSMM  float64   // about the fit, with the degrees of freedom taken off; NaN when there are none
	FormPVMM       float64   // peak to valley of the surface's own departure from a plane; NaN when it cannot be seen
	Readings       int
	Rejected       int
	Coverage       float64 // radians of the circle that were seen
	CoverageFactor float64
	DoF            float64
	Verdict        Verdict
	Warnings       []Warning
	Covariance     [2][2]float64 // of tilt and nod, standard, slope squared

	Conformity *float64    // probability that both axes are within the tolerance; nil when not computed
	Rejections []Rejection // what was left out, where and why; nil when the model does not say
	Form       []Harmonic  // of the surface, where it could be estimated
	Turns      *Turns      // nil for less than two turns
	Waves      []Wave      // steady oscillations under the readings that were found and taken out

	Pair *PairFinding // of a half turn; nil otherwise
}

type axisJSON struct {
	MMPerM   float64 `json:"mm_per_m"`
	U        float64 `json:"u_mm_per_m"`
	Expanded float64 `json:"U_mm_per_m"`
	Verdict  Verdict `json:"verdict"`

	Conformity *float64           `json:"conformity_probability,omitempty"`
	Budget     uncertainty.Budget `json:"budget,omitempty"`
}

type leanJSON struct {
	MMPerM     float64  `json:"mm_per_m"`
	AzimuthDeg *float64 `json:"azimuth_deg"` // null: not known

	U        float64 `json:"u_mm_per_m,omitempty"` // of the size, where the direction is not known
	Expanded float64 `json:"U_mm_per_m,omitempty"`
}

// resultJSON is the shape other programs rely on; its names are a contract.
type resultJSON struct {
	Model          string     `json:"model"`
	ModelVersion   int        `json:"model_version"`
	Tilt           *axisJSON  `json:"tilt"`
	Nod            *axisJSON  `json:"nod"`
	Lean           *leanJSON  `json:"lean"`
	OffsetMM       *float64   `json:"offset_mm"`
	OffsetsMM      []*float64 `json:"offsets_mm,omitempty"` // where there are several indicators; null for a silent one
	ClosureMM      *float64   `json:"closure_mm"`
	ResidualRMSMM  *float64   `json:"residual_rms_mm"`
	FormPVMM       *float64   `json:"form_pv_mm"`
	Readings       int        `json:"readings"`
	Rejected       int        `json:"rejected"`
	CoverageDeg    float64    `json:"coverage_deg"`
	CoverageFactor float64    `json:"coverage_factor"`
	DoF            *float64   `json:"dof"`
	Verdict        Verdict    `json:"verdict"`
	Warnings       []Warning  `json:"warnings"`

	Conformity *float64    `json:"conformity_probability,omitempty"`
	Rejections []Rejection `json:"rejections,omitempty"`
	Form       []Harmonic  `json:"form,omitempty"`
	Turns      *Turns      `json:"turns,omitempty"`
	Waves      []Wave      `json:"waves,omitempty"`

	Pair *PairFinding `json:"pair,omitempty"`
}
