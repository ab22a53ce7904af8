package sweep

import (
	"fmt"

	"tramd/sweep/units"
)

// Setup is what a run was taken with: enough to fit its readings again years later.
type Setup struct {
	Machine     string          `json:"machine"`
	Indicators  []Indicator     `json:"indicators"`
	Tolerance   units.Tolerance `json:"-"`
	AngleSource string          `json:"angle_source"`           // stations | encoder | program | steady
	StationsDeg []float64       `json:"stations_deg,omitempty"` // in the order they are visited
	Steady      *Steady         `json:"steady,omitempty"`       // angle source steady only
	Surface     string          `json:"surface,omitempty"`      // what was swept: "bed", "granite plate", ...
	Zero        *Zero           `json:"zero,omitempty"`         // of an encoder's angles; nil: they are known otherwise
}

// Validate refuses a setup that no sweep can be fitted with.
func (s Setup) Validate() error {
	if len(s.Indicators) == 0 {
		return fmt.Errorf("no indicator: a sweep needs at least one")
	}
	for i, ind := range s.Indicators {
		who := ind.Name
		if who == "" {
			who = fmt.Sprintf("number %d", i+1)
		}
		switch {
		case !finite(ind.RadiusMM) || ind.RadiusMM <= 0:
			return fmt.Errorf(
				"indicator %s: no radius: give the arm length from the spindle axis to the contact point in mm", who)
		case ind.RadiusMM > 10000:
			return fmt.Errorf("indicator %s: radius %v mm is longer than 10 m", who, ind.RadiusMM)
		case !finite(ind.RadiusUMM) || ind.RadiusUMM < 0 || ind.RadiusUMM >= ind.RadiusMM:
			return fmt.Errorf("indicator %s: radius uncertainty must lie between 0 and the radius", who)
		case !finite(ind.ResolutionMM) || ind.ResolutionMM < 0 || ind.ResolutionMM > 10:
			return fmt.Errorf("indicator %s: resolution must lie between 0 and 10 mm", who)
		case !finite(ind.MPEMM) || ind.MPEMM < 0 || ind.MPEMM > 10:
			return fmt.Errorf("indicator %s: permissible error must lie between 0 and 10 mm", who)
		case !finite(ind.PhaseDeg):
			return fmt.Errorf("indicator %s: phase is not a number", who)
		}
		if err := ind.validateTruth(); err != nil {
			return fmt.Errorf("indicator %s: %w", who, err)
		}
	}
	return nil
}

// MaxTurns is the most turns that one sweep may be of: a hand gets tired long before, and every reading is kept in
// memory for the fit.
const MaxTurns = 100
