package mixed

import (
	"math"
	"math/rand/v2"
	"testing"

	"tramd/sweep"
)

// Noise of the angles is no turning back, and turning back is seen all the same.
func TestDirectionsOfTremblingAngles(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 1))
	for _, c := range []struct {
		name   string
		sd     float64                 // degrees
		at     func(i float64) float64 // degrees, 2,000 readings
		turned int
	}{
		{"still encoder, even turning", 0, func(i float64) float64 { return i * 0.36 }, 0},
		{"noise of half a degree", 0.5, func(i float64) float64 { return i * 0.36 }, 0},
		{"the same, clockwise", 0.5, func(i float64) float64 { return -i * 0.36 }, 0},
		{"counts of 3.6 degrees", 0, func(i float64) float64 { return 3.6 * math.Floor(i/10) }, 0},
		{"there and back", 0.5, func(i float64) float64 { return 360 - math.Abs(i-1000)*0.36 }, 1},
		{"four strokes of 20 degrees, true angles", 0, func(i float64) float64 {
			return math.Abs(math.Mod(i, 1000)-500) * 0.04
		}, 3},
		{"four strokes of 20 degrees, noise of a quarter", 0.25, func(i float64) float64 {
			return math.Abs(math.Mod(i, 1000)-500) * 0.04
		}, 3},
	} {
		th := make([]float64, 2000)
		for i := range th {
			th[i] = sweep.Radians(c.at(float64(i)) + c.sd*r.NormFloat64())
		}
		turned := 0
		way := directions(th)
		for i := range way[1:] {
			if way[i+1] != way[i] {
				turned++
			}
		}
		if turned != c.turned {
			t.Errorf("%s: turned %d times, want %d", c.name, turned, c.turned)
		}
	}
}

// An arm that turns all the time does not stand at stations, however slowly it goes.
func TestSlowTurningIsNoStation(t *testing.T) {
	slow := make([]sweep.Point, 3000)
	for i := range slow {
		x := float64(i) / 3000
		slow[i] = sweep.Point{T: 600 * x, Angle: 2.04 * math.Pi * x, Reading: 0.02*math.Cos(2.04*math.Pi*x) +
			0.001*math.Sin(float64(i*i))}
	}
	if l := newLevels(fittingOf(t, slow, oneArm(120)).bs); l.settled {
		t.Error("a turn in ten minutes was taken for stations")
	}
	var stops []sweep.Point
	for k := range 36 {
		for i := range 10 {
			th := float64(k) * math.Pi / 18
			stops = append(stops, sweep.Point{T: 5*float64(k) + 0.1*float64(i), Angle: th, Reading: 0.02*math.Cos(th) +
				0.001*math.Sin(float64(k*k+i*i))})
		}
	}
	if l := newLevels(fittingOf(t, stops, oneArm(120)).bs); !l.settled {
		t.Error("36 stations were taken for an arm that turns")
	}
}
