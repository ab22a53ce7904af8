package sim

import (
	"math"
	"math/rand/v2"
	"time"
)

// slowNoiseTime is how long the slow noise remembers: its correlation falls to 1/e.
const slowNoiseTime = 2 * time.Second

// noise adds what an indicator sees besides the surface: white noise, and a slow wander with a correlation that falls
// exponentially (an Ornstein-Uhlenbeck process, stepped exactly over any interval).
type noise struct {
	rng           *rand.Rand
	white, slow   float64 // standard deviations, mm
	wander        float64 // mm
	wanderAt      time.Duration
	wanderStarted bool
}

func (n *noise) at(now time.Duration) float64 {
	if !n.wanderStarted {
		n.wander, n.wanderStarted = n.slow*n.rng.NormFloat64(), true
	} else {
		keep := math.Exp(-float64(now-n.wanderAt) / float64(slowNoiseTime))
		n.wander = keep*n.wander + n.slow*math.Sqrt(1-keep*keep)*n.rng.NormFloat64()
	}
	n.wanderAt = now
	return n.wander + n.white*n.rng.NormFloat64()
}
