package config

import (
	"math"
	"time"

	"tramd/sweep"
)

// Truth is how an indicator's readings become movements of the contact: its certificate, travel, stem and lever.
type Truth struct {
	Serial      string    `toml:"serial"`
	TravelMM    []float64 `toml:"travel_mm"` // lowest and highest reading it still follows
	Certificate string    `toml:"certificate"`
	Calibrated  string    `toml:"calibrated"` // day of the certificate, "2006-01-02"
	ShownMM     []float64 `toml:"shown_mm"`
	TrueMM      []float64 `toml:"true_mm"`
	TrueUMM     float64   `toml:"true_u_mm" zero:"meant"` // standard uncertainty of a true value
	StemDeg     float64   `toml:"stem_deg" zero:"meant"`
	StemUDeg    float64   `toml:"stem_u_deg" zero:"meant"`
	LeverFactor float64   `toml:"lever_factor"`
	LeverU      float64   `toml:"lever_factor_u" zero:"meant"`
}

// fill puts it into what the fit knows of the indicator.
func (t *Truth) fill(ind *sweep.Indicator) {
	ind.Serial, ind.TravelMM = t.Serial, t.TravelMM
	ind.StemDeg, ind.StemUDeg, ind.Factor, ind.FactorU = t.StemDeg, t.StemUDeg, t.LeverFactor, t.LeverU
	if len(t.ShownMM) > 0 {
		ind.Calibration = &sweep.Calibration{
			Certificate: t.Certificate, Date: t.Calibrated, UMM: t.TrueUMM, ShownMM: t.ShownMM, TrueMM: t.TrueMM,
		}
	}
}

// longestText bounds a serial or certificate number.
const longestText = 64

func (v *validator) truth(table string, t *Truth) {
	key := func(k string) string { return table + "." + k }
	for _, x := range []struct{ key, text string }{{"serial", t.Serial}, {"certificate", t.Certificate}} {
		if len(x.text) > longestText {
			v.bad(key(x.key), "is %d bytes long; write at most %d", len(x.text), longestText)
		}
	}
	if t.TravelMM != nil && (len(t.TravelMM) != 2 || !(t.TravelMM[0] < t.TravelMM[1]) ||
		!(t.TravelMM[0] >= -1000 && t.TravelMM[1] <= 1000)) {
		v.bad(key("travel_mm"),
			"%v; write the lowest and the highest reading that the plunger still follows, for example travel_mm = [0.1, 12.4]", t.TravelMM)
	}
	v.number(key("stem_deg"), t.StemDeg, -60, 60)
	v.number(key("stem_u_deg"), t.StemUDeg, 0, 30)
	v.optional(key("lever_factor"), t.LeverFactor, 0.1, 10)
	v.number(key("lever_factor_u"), t.LeverU, 0, 1)
	v.calibration(key, t)
}

func (v *validator) calibration(key func(string) string, t *Truth) {
	if t.Calibrated != "" {
		if _, err := time.Parse(time.DateOnly, t.Calibrated); err != nil {
			v.bad(key("calibrated"), `%q is not a day; write the certificate's date as "2025-11-03"`, t.Calibrated)
		}
	}
	if len(t.ShownMM) == 0 && len(t.TrueMM) == 0 {
		if t.TrueUMM != 0 || t.Certificate != "" {
			v.bad(key("shown_mm"),
				"missing; write the certificate's table, for example shown_mm = [0, 5, 10] and true_mm = [0, 5.002, 10.001]")
		}
		return
	}
	v.number(key("true_u_mm"), t.TrueUMM, 0, 1)
	if len(t.ShownMM) != len(t.TrueMM) || len(t.ShownMM) < 2 || len(t.ShownMM) > 1000 {
		v.bad(key("true_mm"), "%d true values for %d shown ones; write as many of each, 2 to 1000", len(t.TrueMM),
			len(t.ShownMM))
		return
	}
	for i, shown := range t.ShownMM {
		switch off := t.TrueMM[i] - shown; {
		case !(math.Abs(shown) <= 1000):
			v.bad(key("shown_mm"), "%v is no reading of an indicator; write the table in mm", shown)
			return
		case i > 0 && !(shown > t.ShownMM[i-1]):
			v.bad(key("shown_mm"), "%v follows %v; write the shown values rising, each once", shown, t.ShownMM[i-1])
			return
		case !(math.Abs(off) <= 1):
			v.bad(key("true_mm"), "shown %v, true %v: more than 1 mm apart; write both in mm", shown, t.TrueMM[i])
			return
		}
	}
}
