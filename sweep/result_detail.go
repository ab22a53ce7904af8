package sweep

// Rejection says which readings a fit left out, and why. Code is for programs and never changes its meaning:
//
//	no_angle       the spindle angle was not known
//	duplicate      the same reading at the same time and angle again
//	stuck          the reading stood still while the spindle turned
//	end_of_travel  the indicator stood at one end of its travel
//	spike_up       single readings above their neighbours: dust, a chip
//	spike_down     single readings below their neighbours: a lost digit, a scratch
//	raised         an arc above the surface: a chip carried along, a burr
//	hollow         an arc below the surface: a slot, a hole, a seam
type Rejection struct {
	Code      string  `json:"code"`
	Indicator int     `json:"indicator"`
	FromS     float64 `json:"from_s"`
	ToS       float64 `json:"to_s"`
	FromDeg   float64 `json:"from_deg"` // spindle angle, unwrapped; with ToDeg 0 for no_angle
	ToDeg     float64 `json:"to_deg"`
	Readings  int     `json:"readings"`
}

// Harmonic is one part of the surface's form along the circle: AmplitudeMM * cos(Order * (angle - phase)).
type Harmonic struct {
	Order       int     `json:"order"`
	AmplitudeMM float64 `json:"amplitude_mm"`
	PhaseDeg    float64 `json:"phase_deg"` // where its first high point lies
}

// Wave is a steady oscillation in time, as of a pump, a fan or a passing crane.
type Wave struct {
	Hertz       float64 `json:"hertz"`
	PeriodS     float64 `json:"period_s"`
	AmplitudeMM float64 `json:"amplitude_mm"` // half of peak to valley, of the indicator that shows it most
}

// Turns splits what repeats from turn to turn from what does not, in the sense of ISO 230-7 (cited from memory): the
// fundamental, once a turn, is the lean; the residual synchronous part is the rest of what repeats with the turn; the
// asynchronous part is what does not repeat.
type Turns struct {
	Count                 float64 `json:"count"`                   // turns seen, where they overlap
	FundamentalMM         float64 `json:"fundamental_mm"`          // amplitude
	ResidualSynchronousMM float64 `json:"residual_synchronous_mm"` // peak to valley
	AsynchronousRMSMM     float64 `json:"asynchronous_rms_mm"`     // root mean square about the repeating part
}
