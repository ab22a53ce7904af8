package sim

import (
	"math"
	"math/rand/v2"
)

// Assembly is what carries the simulated spindle: rails, a plate, a tool shank in its collet, the head's travel. Every
// reading is in mm, as a dial shows it: larger is nearer.
type Assembly struct {
	RailMMPerM  float64 // slope of the left rail against its edge
	TwistMMPerM float64 // by how much the plate's back line is steeper than its front line
	PlateWidth  float64 // mm between them
	Travel      Truth   // head travel against table
	Bar         Truth   // how the shank leans in the spindle, as it stands at 0 degrees
	Beside      float64 // mm by which the shank lies beside the axis at the height 0, towards +X
	Square      Truth   // how the square itself leans against the table
	NoiseMM     float64

	rng *rand.Rand
}

// LinnetAssembly returns that of the demo's gantry router, as it is before anybody has trued it.
func LinnetAssembly(seed uint64) *Assembly {
	return &Assembly{
		RailMMPerM: 0.41, TwistMMPerM: -0.33, PlateWidth: 160, Travel: Truth{0.02, -0.03}, Bar: Truth{0.09, -0.06},
		Beside: 0.002,
		Square: Truth{0.012, -0.008}, NoiseMM: 0.0008, rng: rand.New(rand.NewPCG(seed, 17)),
	}
}

// shown is what a dial with steps of a micrometre shows of a height.
func (a *Assembly) shown(mm float64) float64 {
	return math.Round(1000*(mm+a.NoiseMM*a.rng.NormFloat64())) / 1000
}

// Rail is the dial at a position along the rail.
func (a *Assembly) Rail(x float64) float64 {
	return a.shown(0.2 + a.RailMMPerM*x/1000 + 0.002*math.Sin(x/90))
}

// Plate is the dial at a position on one of the plate's lines.
func (a *Assembly) Plate(x, line float64) float64 {
	return a.shown(0.15 + (0.05+a.TwistMMPerM*line/a.PlateWidth)*x/1000)
}

// Shank is the dial that stands at a height while its mark of so many degrees faces it.
func (a *Assembly) Shank(height, deg float64) float64 {
	th := deg * math.Pi / 180
	return a.shown(0.3 + (a.Beside+a.Bar.TiltMMPerM*height/1000)*math.Cos(th) +
		a.Bar.NodMMPerM*height/1000*math.Sin(th))
}

// AlongShank is the dial that stands on the table at a side of the shank, with the head so far up; spindle is that
// against table.
func (a *Assembly) AlongShank(up, side float64, turned bool, spindle Truth) float64 {
	return a.moved(up, side, turned, Truth{spindle.TiltMMPerM - a.Travel.TiltMMPerM,
		spindle.NodMMPerM - a.Travel.NodMMPerM}, a.Bar)
}

// AlongSquare is the dial that the head carries along a side of the square.
func (a *Assembly) AlongSquare(up, side float64, turned bool) float64 {
	return a.moved(up, side, turned, a.Travel, Truth{-a.Square.TiltMMPerM, -a.Square.NodMMPerM})
}

func (a *Assembly) moved(up, side float64, turned bool, lean, own Truth) float64 {
	if turned {
		own = Truth{-own.TiltMMPerM, -own.NodMMPerM}
	}
	p := side * math.Pi / 180
	return a.shown(0.25 - ((lean.TiltMMPerM+own.TiltMMPerM)*math.Cos(p)+(lean.NodMMPerM+own.NodMMPerM)*math.Sin(
		p))*up/1000)
}
