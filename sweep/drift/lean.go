package drift

// Lean is what is believed of one axis at one moment.
type Lean struct {
	Level, U    float64 // mm/m, with its standard uncertainty
	Rate, RateU float64 // mm/m per day, with its standard uncertainty
}
