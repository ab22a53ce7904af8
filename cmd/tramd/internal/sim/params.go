package sim

import (
	"fmt"
	"math"
)

// Truth is how the spindle leans, in mm per metre: tilt to +X (right), nod to +Y (back), by its upper end.
type Truth struct{ TiltMMPerM, NodMMPerM float64 }

// Harmonic is one wave of the table's form along the sweep circle: MM*cos(K*th - PhaseDeg), K waves in a turn.
type Harmonic struct {
	K            int
	MM, PhaseDeg float64
}

// Params says what machine to simulate.
type Params struct {
	Truth
	RadiusMM      float64    // from the spindle axis to the indicator's tip
	OffsetMM      float64    // reading of an indicator square to the table
	IndicatorHz   float64    // readings a second
	EncoderHz     float64    // counts a second
	CountsPerTurn int        // of the encoder
	NoiseMM       float64    // standard deviation, white
	SlowNoiseMM   float64    // standard deviation, exponentially correlated over about 2 s
	Form          []Harmonic // how the table departs from a plane; K >= 2
	BadLineEvery  int        // about every n-th line of either port is spoilt; 0: none
	ResolutionMM  float64    // step of the indicator's display; 0: as fine as nanometres
	Seed          uint64     // of the noise, the spoilt lines and the hand
}

// Linnet returns the demo's gantry router, as it stands before anybody has squared it.
func Linnet() Params {
	return Params{
		Truth:         Truth{TiltMMPerM: 0.45, NodMMPerM: -0.62},
		RadiusMM:      120,
		OffsetMM:      0.35,
		IndicatorHz:   100,
		EncoderHz:     200,
		CountsPerTurn: 4096,
		NoiseMM:       0.0012,
		SlowNoiseMM:   0.0008,
		Form: []Harmonic{{K: 2, MM: 0.003, PhaseDeg: 35}, {K: 3, MM: 0.0015, PhaseDeg: -80},
			{K: 5, MM: 0.0006, PhaseDeg: 10}},
		BadLineEvery: 400,
		ResolutionMM: 0.001,
		Seed:         1,
	}
}

// Wren returns the demo's bench mill: a shorter arm, a flatter table, and as its year left it.
func Wren() Params {
	p := Linnet()
	p.Truth = Truth{TiltMMPerM: 0.038, NodMMPerM: -0.021}
	p.RadiusMM, p.OffsetMM = 90, 0.2
	p.NoiseMM, p.SlowNoiseMM = 0.0008, 0.0004
	p.Form = []Harmonic{{K: 2, MM: 0.0015, PhaseDeg: -20}, {K: 4, MM: 0.0005, PhaseDeg: 60}}
	p.Seed = 2
	return p
}

// maxHz is beyond what a full 921,600 baud line carries.
const maxHz = 20000

// validate refuses what could not be simulated, naming the field.
func (p Params) validate() error {
	type field struct {
		name     string
		v        float64
		min, max float64
	}
	fields := []field{
		{"tilt in mm/m", p.TiltMMPerM, -100, 100},
		{"nod in mm/m", p.NodMMPerM, -100, 100},
		{"radius in mm", p.RadiusMM, 1, 1e4},
		{"offset in mm", p.OffsetMM, -100, 100},
		{"indicator rate in Hz", p.IndicatorHz, 0.01, maxHz},
		{"encoder rate in Hz", p.EncoderHz, 0.01, maxHz},
		{"counts per turn", float64(p.CountsPerTurn), 4, 1e8},
		{"noise in mm", p.NoiseMM, 0, 10},
		{"slow noise in mm", p.SlowNoiseMM, 0, 10},
		{"bad line every", float64(p.BadLineEvery), 0, 1e9},
		{"resolution in mm", p.ResolutionMM, 0, 1},
	}
	for _, h := range p.Form {
		// One wave in a turn is a lean of the table, which a sweep cannot tell from a lean of the spindle.
		fields = append(fields,
			field{"waves in a turn of the table's form", float64(h.K), 2, 1e4},
			field{"height in mm of the table's form", h.MM, -10, 10},
			field{"phase in degrees of the table's form", h.PhaseDeg, -1e6, 1e6})
	}
	for _, f := range fields {
		if !(f.v >= f.min && f.v <= f.max) { // NaN fails too
			return fmt.Errorf("simulate a machine: %s is %v, write a value from %v to %v", f.name, f.v, f.min, f.max)
		}
	}
	return nil
}

// surface returns what a perfect indicator would read at a spindle angle, in mm.
func (p Params) surface(truth Truth, offsetMM, angleDeg float64) float64 {
	sin, cos := math.Sincos(angleDeg * math.Pi / 180)
	z := offsetMM + p.RadiusMM*(truth.TiltMMPerM*cos+truth.NodMMPerM*sin)/1000
	for _, h := range p.Form {
		z += h.MM * math.Cos((float64(h.K)*angleDeg-h.PhaseDeg)*math.Pi/180)
	}
	return z
}
