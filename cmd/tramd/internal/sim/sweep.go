package sim

import (
	"math"
	"math/rand/v2"
	"time"
)

// Reading is one reading of a recorded sweep.
type Reading struct{ Seconds, AngleDeg, MM float64 }

// Sweep returns the readings of one turn by hand at rpm: what the ports of a machine with these parameters would send,
// without the waiting and without damaged lines.
func Sweep(p Params, rpm float64) ([]Reading, error) {
	if err := p.validate(); err != nil {
		return nil, err
	}
	hand := newTurning(rand.New(rand.NewPCG(p.Seed, 1)), 0, 0, 1.03, rpm)
	n := noise{rng: rand.New(rand.NewPCG(p.Seed, 2)), white: p.NoiseMM, slow: p.SlowNoiseMM}
	step := max(p.ResolutionMM, 1e-6)
	var out []Reading
	for at := time.Duration(0); at < hand.length; at += time.Duration(float64(time.Second) / p.IndicatorHz) {
		deg := hand.angle(at)
		mm := p.surface(p.Truth, p.OffsetMM, deg) + n.at(at)
		count := math.Round(deg / 360 * float64(p.CountsPerTurn))
		out = append(out, Reading{at.Seconds(), count * 360 / float64(p.CountsPerTurn), math.Round(mm/step) * step})
	}
	return out, nil
}
