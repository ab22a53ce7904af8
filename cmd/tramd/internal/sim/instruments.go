package sim

import (
	"context"
	"math"
	"math/rand/v2"
	"time"
)

// runIndicator writes readings until ctx ends.
func (m *Machine) runIndicator(ctx context.Context) {
	rng := rand.New(rand.NewPCG(m.params.Seed, 2))
	n := noise{rng: rng, white: m.params.NoiseMM, slow: m.params.SlowNoiseMM}
	show := newDisplay(m.params.ResolutionMM)
	var line []byte
	every(ctx, m.params.IndicatorHz, func() {
		mm := m.reading(&n)
		line = m.maybeSpoil(rng, show.append(line[:0], mm))
		m.indicator.send(line)
	})
}

// reading is what the indicator sees at this moment.
func (m *Machine) reading(n *noise) float64 {
	m.mu.Lock()
	defer m.mu.Unlock()
	now := m.now()
	return m.params.surface(m.truth, m.offsetMM, m.hand.angle(now)) + n.at(now)
}

// runEncoder writes counts until ctx ends. A count is the nearest one: its zero lies in the middle of a step.
func (m *Machine) runEncoder(ctx context.Context) {
	rng := rand.New(rand.NewPCG(m.params.Seed, 3))
	var line []byte
	every(ctx, m.params.EncoderHz, func() {
		count := int64(math.Round(m.Angle() / 360 * float64(m.params.CountsPerTurn)))
		line = m.maybeSpoil(rng, appendCount(line[:0], count))
		m.encoder.send(line)
	})
}

func (m *Machine) maybeSpoil(rng *rand.Rand, line []byte) []byte {
	if m.params.BadLineEvery == 0 || rng.IntN(m.params.BadLineEvery) != 0 {
		return line
	}
	return spoil(rng, line)
}

// latest is how far an instrument may fall behind and still make up for it. After a longer stop (a suspended computer)
// it goes on from now, rather than flood the port.
const latest = 100 * time.Millisecond

// every calls do at a rate whose average does not drift: each call has its own due time, counted from the first. One
// that comes late is made at once, so do must look at the clock itself.
func every(ctx context.Context, hz float64, do func()) {
	origin, n := time.Now(), 0.0
	timer := time.NewTimer(0)
	defer timer.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-timer.C:
		}
		wait := time.Duration(0)
		for wait <= 0 {
			if ctx.Err() != nil {
				return
			}
			do()
			n++
			if wait = time.Until(origin.Add(time.Duration(n / hz * 1e9))); wait < -latest {
				origin, n = time.Now(), 0
			}
		}
		timer.Reset(wait)
	}
}
