package drift

import (
	"math"
	"math/rand/v2"
	"slices"
)

// futures are when the machine is first outside its tolerance, in days from now, in so many courses drawn from what is
// believed of both axes together; the earliest first. Those that stay within as far as they were followed are left out.
// A date is a share of them: the chance of having been outside at any moment up to then, which no chance of a single
// moment gives.
type futures struct {
	first []float64
	drawn int
}

// How futures are drawn: so many, followed in steps that grow with the time ahead.
const (
	futuresDrawn = 4000
	futureSteps  = 64
	firstStep    = 1e-3 // of how far they are followed
)

// chance is that of having been outside at any moment up to h days on.
func (f *futures) chance(h float64) float64 {
	n, _ := slices.BinarySearchFunc(f.first, h, func(x, h float64) int {
		if x <= h {
			return -1
		}
		return 1
	})
	return float64(n) / float64(f.drawn)
}

// when is the day by which the chance comes to so much; ok is false where it does not as far as futures were followed.
func (f *futures) when(chance float64) (h float64, ok bool) {
	n := int(math.Ceil(chance*float64(f.drawn))) - 1
	if n = max(n, 0); n >= len(f.first) {
		return 0, false
	}
	return f.first[n], true
}

// course is one axis on its way.
type course struct {
	b     *bank
	h     *hypothesis
	sigma float64
	level float64
	rate  float64
	swing float64
	perK  float64
	age   float64 // as state has it
	pace  float64 // of its own time beside the days
	last  float64 // the lean at the last step
}

// futures draws courses as far as so many days ahead, from the last check on. The same record gives the same futures.
func (t *Tracker) futures(days float64) *futures {
	if f := t.drawn; f != nil && t.drawnFor == days {
		return f
	}
	r := rand.New(rand.NewPCG(1, uint64(t.checks)))
	draws := t.draws
	if draws == 0 {
		draws = futuresDrawn
	}
	f := &futures{drawn: draws}
	var picks [2][]*hypothesis
	for i, a := range t.axes {
		if a.bank != nil {
			picks[i] = a.bank.pick(r, draws)
		}
	}
	steps := make([]float64, futureSteps+1)
	for k := 1; k <= futureSteps; k++ {
		steps[k] = days * math.Pow(firstStep, 1-float64(k)/futureSteps)
	}
	for n := range draws {
		var on [2]course
		for i, a := range t.axes {
			if a.bank != nil {
				on[i].begin(a.bank, picks[i][n], r)
			}
		}
		seen, unseen := [2]float64{r.NormFloat64(), r.NormFloat64()}, [2]float64{r.NormFloat64(), r.NormFloat64()}
		before := 0.0
		for k, at := range steps {
			out := false
			for i := range on {
				if on[i].b != nil {
					z := on[i].b.air.course(at, seen, unseen)
					out = on[i].step(at-before, z, t.limit, k == 0, r) || out
				}
			}
			if out {
				f.first = append(f.first, before+r.Float64()*(at-before)) // somewhere within the step
				break
			}
			before = at
		}
	}
	slices.Sort(f.first)
	t.drawn, t.drawnFor = f, days
	return f
}

// pick draws hypotheses by their weights, evenly, and mixes them.
func (b *bank) pick(r *rand.Rand, n int) []*hypothesis {
	out := make([]*hypothesis, 0, n)
	sum, i := b.h[0].weight, 0
	for k := range n {
		at := (float64(k) + 0.5) / float64(n)
		for sum < at && i < len(b.h)-1 {
			i++
			sum += b.h[i].weight
		}
		out = append(out, &b.h[i])
	}
	r.Shuffle(n, func(i, k int) { out[i], out[k] = out[k], out[i] })
	return out
}

// begin draws where an axis is.
func (c *course) begin(b *bank, h *hypothesis, r *rand.Rand) {
	*c = course{b: b, h: h, age: h.age, pace: 1, sigma: math.Sqrt(h.square / chiSquare(r, b.dof))}
	if h.used {
		c.pace = b.pace()
	}
	mean := [4]float64{h.level, h.rate, h.swing, h.perK}
	root := cholesky([4][4]float64{
		{h.ll, h.lb, h.ls, h.lk},
		{h.lb, h.bb, h.bs, h.bk},
		{h.ls, h.bs, h.ss, h.sk},
		{h.lk, h.bk, h.sk, h.kk},
	})
	var z [4]float64
	for i := range z {
		z[i] = r.NormFloat64()
		for k := 0; k <= i; k++ {
			mean[i] += c.sigma * root[i][k] * z[k]
		}
	}
	c.level, c.rate, c.swing, c.perK = mean[0], mean[1], mean[2], mean[3]
}

// step lets dt days pass and says whether the axis was outside meanwhile; z is the temperature then.
func (c *course) step(dt, z, limit float64, now bool, r *rand.Rand) bool {
	h, dt := c.h, dt*c.pace
	if !now {
		if h.steep > 0 {
			c.level += c.rate * h.run(c.age, dt)
			c.age += dt
		}
		if h.turn > 0 { // an integrated random walk
			w, along := c.sigma*h.turn*math.Sqrt(dt), r.NormFloat64()
			c.rate += w * along
			c.level += w * dt * (along/2 + r.NormFloat64()/math.Sqrt(12))
		}
		if h.wander > 0 {
			c.level += c.sigma * h.wander * math.Sqrt(dt) * r.NormFloat64()
		}
		if h.tau >= 0 {
			kept := math.Exp(-dt / c.b.taus[h.tau])
			c.swing *= kept
			if h.alive {
				c.swing += c.sigma * h.reach * math.Sqrt(1-kept*kept) * r.NormFloat64()
			}
		}
	}
	lean := c.level + c.swing + z*c.perK
	was := c.last
	c.last = lean
	if math.Abs(lean) > limit {
		return true
	}
	if now {
		return false
	}
	// What wanders may have been outside between two steps: a Brownian bridge.
	v := sq(c.sigma*h.wander) * dt
	if h.alive {
		v += 2 * sq(c.sigma*h.reach) * math.Min(1, dt/c.b.taus[h.tau])
	}
	if v == 0 {
		return false
	}
	crossed := math.Exp(-2*(limit-was)*(limit-lean)/v) + math.Exp(-2*(limit+was)*(limit+lean)/v)
	return crossed > 1e-6 && r.Float64() < crossed
}

// chiSquare draws by the cube of a normal variable (E. B. Wilson, M. M. Hilferty, PNAS 17 (1931) 684-688, from memory).
func chiSquare(r *rand.Rand, dof float64) float64 {
	x := 2 / (9 * dof)
	return dof * math.Max(1e-3, cube(1-x+math.Sqrt(x)*r.NormFloat64()))
}

func cube(x float64) float64 { return x * x * x }

// cholesky is the lower triangle whose square a covariance is; what is known for certain has a row of zeros.
func cholesky(a [4][4]float64) (root [4][4]float64) {
	for i := range a {
		for k := 0; k <= i; k++ {
			sum := a[i][k]
			for j := range k {
				sum -= root[i][j] * root[k][j]
			}
			switch {
			case i == k:
				root[i][i] = math.Sqrt(math.Max(0, sum))
			case root[k][k] > 0:
				root[i][k] = sum / root[k][k]
			}
		}
	}
	return root
}

// course is the temperature h days on in one future, above the record's first: what was seen of a year, and what was
// not.
func (c *climate) course(h float64, seen, unseen [2]float64) float64 {
	sin, cos := math.Sincos(2 * math.Pi * h / year)
	z := c.usual + math.Sqrt(c.spread)*(seen[0]*cos+seen[1]*sin)
	if rest := 1 - c.days/year; rest > 0 {
		wave := math.Min(sq(yearWaveK), yearTimes*c.spread)
		z += math.Sqrt(rest*wave/2) * (unseen[0]*(cos-1) + unseen[1]*sin)
	}
	return z
}
