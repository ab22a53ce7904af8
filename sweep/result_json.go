package sweep

import (
	"encoding/json"
	"math"

	"tramd/sweep/units"
)

// MarshalJSON writes the result in the units people and programs read: mm/m, mm, degrees. What is not known is null,
// since JSON has no NaN.
func (r Result) MarshalJSON() ([]byte, error) {
	out := resultJSON{
		Model: r.Model, ModelVersion: r.ModelVersion,
		Tilt: axisOut(r.Tilt), Nod: axisOut(r.Nod),
		ClosureMM: known(r.ClosureMM), ResidualRMSMM: known(r.ResidualRMSMM), FormPVMM: known(r.FormPVMM),
		Readings: r.Readings, Rejected: r.Rejected,
		CoverageDeg: Degrees(r.Coverage), CoverageFactor: r.CoverageFactor, DoF: known(r.DoF),
		Verdict: r.Verdict, Warnings: r.Warnings,
		Conformity: r.Conformity, Rejections: r.Rejections, Form: r.Form, Turns: r.Turns, Waves: r.Waves, Pair: r.Pair,
	}
	if out.Warnings == nil {
		out.Warnings = []Warning{}
	}
	if r.Lean != nil {
		out.Lean = &leanJSON{
			MMPerM: r.Lean.Slope.MMPerM(), AzimuthDeg: known(Degrees(r.Lean.Azimuth)), U: r.Lean.U.MMPerM(),
			Expanded: r.Lean.Expanded.MMPerM(),
		}
	}
	if len(r.OffsetMM) > 0 {
		out.OffsetMM = known(r.OffsetMM[0])
	}
	if len(r.OffsetMM) > 1 {
		for _, mm := range r.OffsetMM {
			out.OffsetsMM = append(out.OffsetsMM, known(mm))
		}
	}
	return json.Marshal(out)
}

// UnmarshalJSON reads what MarshalJSON wrote; the store keeps results so.
func (r *Result) UnmarshalJSON(data []byte) error {
	var in resultJSON
	if err := json.Unmarshal(data, &in); err != nil {
		return err
	}
	*r = Result{
		Model: in.Model, ModelVersion: in.ModelVersion,
		Tilt: axisIn(in.Tilt), Nod: axisIn(in.Nod),
		ClosureMM: orNaN(in.ClosureMM), ResidualRMSMM: orNaN(in.ResidualRMSMM), FormPVMM: orNaN(in.FormPVMM),
		Readings: in.Readings, Rejected: in.Rejected,
		Coverage: Radians(in.CoverageDeg), CoverageFactor: in.CoverageFactor, DoF: orNaN(in.DoF),
		Verdict: in.Verdict, Warnings: in.Warnings,
		Conformity: in.Conformity, Rejections: in.Rejections, Form: in.Form, Turns: in.Turns, Waves: in.Waves,
		Pair: in.Pair,
	}
	for _, mm := range in.OffsetsMM {
		r.OffsetMM = append(r.OffsetMM, orNaN(mm))
	}
	if r.OffsetMM == nil && in.OffsetMM != nil {
		r.OffsetMM = []float64{*in.OffsetMM}
	}
	if in.Lean != nil {
		r.Lean = &Lean{
			Slope: units.Slope(in.Lean.MMPerM) * units.MMPerM, Azimuth: Radians(orNaN(in.Lean.AzimuthDeg)),
			U: units.Slope(in.Lean.U) * units.MMPerM, Expanded: units.Slope(in.Lean.Expanded) * units.MMPerM,
		}
	}
	return nil
}

func axisOut(a *Axis) *axisJSON {
	if a == nil {
		return nil
	}
	return &axisJSON{
		MMPerM: a.Slope.MMPerM(), U: a.U.MMPerM(), Expanded: a.Expanded.MMPerM(), Verdict: a.Verdict,
		Conformity: a.Conformity, Budget: a.Budget,
	}
}

func axisIn(a *axisJSON) *Axis {
	if a == nil {
		return nil
	}
	return &Axis{
		Slope: units.Slope(a.MMPerM) * units.MMPerM, U: units.Slope(a.U) * units.MMPerM,
		Expanded: units.Slope(a.Expanded) * units.MMPerM, Verdict: a.Verdict,
		Conformity: a.Conformity, Budget: a.Budget,
	}
}

func known(x float64) *float64 {
	if !finite(x) {
		return nil
	}
	return &x
}

func orNaN(x *float64) float64 {
	if x == nil {
		return math.NaN()
	}
	return *x
}
