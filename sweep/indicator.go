package sweep

import (
	"fmt"
	"math"
	"sort"
)

// Indicator is what the fit must know of one indicator: where it rides and how far it can be trusted.
type Indicator struct {
	Name         string  `json:"name"`
	RadiusMM     float64 `json:"radius_mm"`        // arm length from the spindle axis to the contact point
	RadiusUMM    float64 `json:"radius_u_mm"`      // standard uncertainty of RadiusMM
	PhaseDeg     float64 `json:"phase_deg"`        // where it sits, counter-clockwise from the arm's zero
	ResolutionMM float64 `json:"resolution_mm"`    // smallest step of the display
	MPEMM        float64 `json:"mpe_mm,omitempty"` // maximum permissible error of the indicator over its travel; 0 = not stated

	HysteresisMM float64 `json:"hysteresis_mm,omitempty"` // what it reads apart by the way its plunger moves; 0 = not stated

	Serial      string       `json:"serial,omitempty"`
	TravelMM    []float64    `json:"travel_mm,omitempty"`  // lowest and highest reading that the contact still follows; nil = not stated
	StemDeg     float64      `json:"stem_deg,omitempty"`   // by how much the direction of measuring is known to be off square
	StemUDeg    float64      `json:"stem_u_deg,omitempty"` // standard uncertainty of StemDeg; 0 = not stated
	Factor      float64      `json:"factor,omitempty"`     // of a lever: true movement over shown; 0 = 1
	FactorU     float64      `json:"factor_u,omitempty"`   // its standard uncertainty
	Calibration *Calibration `json:"calibration,omitempty"`
}

// Calibration is an indicator's table of true against shown readings, from its certificate.
type Calibration struct {
	Certificate string    `json:"certificate,omitempty"`
	Date        string    `json:"date,omitempty"` // 2006-01-02
	UMM         float64   `json:"u_mm"`           // standard uncertainty of a true value
	ShownMM     []float64 `json:"shown_mm"`       // rising
	TrueMM      []float64 `json:"true_mm"`
}

// maxCalibration bounds the rows of a table.
const maxCalibration = 1000

// Correct gives the movement of the contact square to the surface for a shown reading: by the table, on straight lines
// between its rows and by the end's correction beyond them, then by the lever's factor and the cosine of the stem's
// angle.
func (ind *Indicator) Correct(shown float64) float64 {
	z := shown
	if c := ind.Calibration; c != nil {
		z += c.correction(shown)
	}
	if ind.Factor != 0 {
		z *= ind.Factor
	}
	if ind.StemDeg != 0 {
		z *= math.Cos(Radians(ind.StemDeg))
	}
	return z
}

func (c *Calibration) correction(shown float64) float64 {
	n := len(c.ShownMM)
	k := sort.SearchFloat64s(c.ShownMM, shown)
	switch {
	case n == 0:
		return 0
	case k == 0:
		return c.TrueMM[0] - c.ShownMM[0]
	case k == n:
		return c.TrueMM[n-1] - c.ShownMM[n-1]
	}
	a, b := c.TrueMM[k-1]-c.ShownMM[k-1], c.TrueMM[k]-c.ShownMM[k]
	return a + (b-a)*(shown-c.ShownMM[k-1])/(c.ShownMM[k]-c.ShownMM[k-1])
}

// AtEnd reports whether a shown reading lies at an end of the travel or beyond, where the contact may no longer follow.
func (ind *Indicator) AtEnd(shown float64) bool {
	return len(ind.TravelMM) == 2 && (shown <= ind.TravelMM[0] || shown >= ind.TravelMM[1])
}

// Plainly returns the setup for readings that are corrected already.
func (s Setup) Plainly() Setup {
	s.Indicators = append([]Indicator(nil), s.Indicators...)
	for i := range s.Indicators {
		ind := &s.Indicators[i]
		ind.Calibration, ind.Factor, ind.StemDeg, ind.TravelMM = nil, 0, 0, nil
	}
	return s
}

// validateTruth refuses what Correct cannot work with.
func (ind *Indicator) validateTruth() error {
	within := func(x, lo, hi float64) bool { return x >= lo && x <= hi } // false for no number
	switch {
	case !within(ind.StemDeg, -60, 60) || !within(ind.StemUDeg, 0, 30):
		return fmt.Errorf(
			"stem angle %v degrees, give or take %v: must lie within 60 degrees, its uncertainty from 0 to 30",
			ind.StemDeg, ind.StemUDeg)
	case !within(ind.HysteresisMM, 0, 1):
		return fmt.Errorf("hysteresis %v mm must lie between 0 and 1", ind.HysteresisMM)
	case ind.Factor != 0 && !within(ind.Factor, 0.1, 10) || !within(ind.FactorU, 0, 1):
		return fmt.Errorf("factor %v, give or take %v: must lie between 0.1 and 10, its uncertainty from 0 to 1",
			ind.Factor, ind.FactorU)
	case len(ind.TravelMM) != 0 && (len(ind.TravelMM) != 2 || !(ind.TravelMM[0] < ind.TravelMM[1])):
		return fmt.Errorf("travel must be two readings in mm, the lower first, for example 0.0 and 10.0")
	}
	c := ind.Calibration
	if c == nil {
		return nil
	}
	if len(c.ShownMM) != len(c.TrueMM) || len(c.ShownMM) < 2 || len(c.ShownMM) > maxCalibration {
		return fmt.Errorf("calibration: %d shown and %d true values; give as many of each, 2 to %d", len(c.ShownMM),
			len(c.TrueMM), maxCalibration)
	}
	if !within(c.UMM, 0, 1) {
		return fmt.Errorf("calibration: uncertainty %v mm must lie between 0 and 1", c.UMM)
	}
	for i, shown := range c.ShownMM {
		if !within(shown, -maxReadingMM, maxReadingMM) || !within(c.TrueMM[i], -maxReadingMM, maxReadingMM) {
			return fmt.Errorf("calibration: row %d is no pair of readings in mm", i+1)
		}
		if i > 0 && !(shown > c.ShownMM[i-1]) {
			return fmt.Errorf("calibration: shown values must rise, but %v mm follows %v mm", shown, c.ShownMM[i-1])
		}
	}
	return nil
}
