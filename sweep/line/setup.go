package line

import (
	"fmt"
	"math"

	"tramd/sweep"
	"tramd/sweep/mixed"
	"tramd/sweep/units"
)

// Setup is what is known beside the readings.
type Setup struct {
	Indicators     []sweep.Indicator // their radii do not matter
	EdgeMPEMM      float64           // by how much the edge may depart from straight, and its ends from parallel; 0 = not stated
	Tolerance      units.Tolerance   // of slopes
	StraightnessMM float64           // limit of the form; 0 = none
	Options        mixed.Options
}

// Validate refuses a setup that nothing can be measured with.
func (s *Setup) Validate() error {
	if len(s.Indicators) == 0 {
		return fmt.Errorf("no indicator: a measurement needs at least one")
	}
	one := sweep.Setup{Indicators: make([]sweep.Indicator, len(s.Indicators))}
	copy(one.Indicators, s.Indicators)
	for i := range one.Indicators {
		one.Indicators[i].RadiusMM, one.Indicators[i].RadiusUMM = 1, 0
	}
	if err := one.Validate(); err != nil {
		return err
	}
	for what, mm := range map[string]float64{"permissible error of the edge": s.EdgeMPEMM,
		"limit of straightness": s.StraightnessMM} {
		if !(mm >= 0 && mm <= 100) {
			return fmt.Errorf("%s %v mm: must lie between 0 and 100", what, mm)
		}
	}
	return nil
}

// JudgeMM decides on a length that is never negative.
func JudgeMM(mm, expanded, limit float64) sweep.Verdict {
	switch {
	case !(limit > 0):
		return sweep.None
	case mm+expanded <= limit:
		return sweep.Within
	case mm-expanded > limit:
		return sweep.Outside
	}
	return sweep.Undecided
}

// Worst is the verdict on the whole: outside if any part is, within only if all parts that have a limit are.
func Worst(parts ...sweep.Verdict) sweep.Verdict {
	rank := map[sweep.Verdict]int{sweep.None: 0, "": 0, sweep.Within: 1, sweep.Undecided: 2, sweep.Outside: 3}
	all := sweep.None
	for _, v := range parts {
		if rank[v] > rank[all] {
			all = v
		}
	}
	return all
}

// Known returns a pointer for JSON, nil for what is no number.
func Known(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}
