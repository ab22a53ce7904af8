package advice_test

import (
	"math"
	"math/rand/v2"
)

// These machines know nothing of the adviser: they are what a person would find under the head. A machine has a real
// effect for each adjuster that its owner does not know, disturbs itself when it is tightened, and may stick or slip.

type knob struct {
	name             string
	nominalX, nomY   float64 // what the owner believes one unit does, mm/m
	realX, realY     float64 // what it does
	step             float64
	stock            []float64
	packed           float64
	lost, slack      float64 // backlash: travel lost on turning round, in units; the side it lies on now
	sticks, slipsOff float64 // chances
}

type machine struct {
	limit   float64
	knobs   []knob
	x, y    float64 // the true lean
	scatter float64 // of tightening, mm/m, each time anything was moved
	part    float64 // of tightening, as a part of what was moved
	u       float64 // of a measurement
	r       *rand.Rand
}

// turn does what was asked, or what the machine makes of it.
func (m *machine) turn(by map[string]float64) {
	var dx, dy float64
	touched := false
	for i := range m.knobs {
		k := &m.knobs[i]
		a := by[k.name]
		if a == 0 {
			continue
		}
		touched = true
		k.packed += a
		if m.r.Float64() < k.sticks {
			a = 0
		} else if m.r.Float64() < k.slipsOff {
			a *= m.r.Float64() * 1.6
		}
		if k.lost > 0 { // slack lies between 0 and lost
			to := k.slack + a
			switch {
			case to > k.lost:
				a, k.slack = to-k.lost, k.lost
			case to < 0:
				a, k.slack = to, 0
			default:
				a, k.slack = 0, to
			}
		}
		dx += a * k.realX
		dy += a * k.realY
	}
	if !touched {
		return
	}
	size := math.Hypot(dx, dy)
	m.x += dx + m.r.NormFloat64()*(m.scatter+m.part*size)
	m.y += dy + m.r.NormFloat64()*(m.scatter+m.part*size)
}

func (m *machine) within() bool { return math.Abs(m.x) <= m.limit && math.Abs(m.y) <= m.limit }

// sweep measures.
func (m *machine) sweep() (x, y float64) {
	return m.x + m.r.NormFloat64()*m.u, m.y + m.r.NormFloat64()*m.u
}

// knock puts the machine out of true again.
func (m *machine) knock(most float64) {
	for {
		m.x, m.y = (2*m.r.Float64()-1)*most, (2*m.r.Float64()-1)*most
		if !m.within() {
			return
		}
	}
}

// settable gives the amount nearest to a wish that the knob can be set to.
func (k *knob) settable(wish float64) float64 {
	if len(k.stock) > 0 {
		best := 0.0
		for mask := range 1 << len(k.stock) {
			var sum float64
			for i, s := range k.stock {
				if mask>>i&1 == 1 {
					sum += s
				}
			}
			for _, v := range [2]float64{sum - k.packed, -sum - k.packed} {
				if math.Abs(v-wish) < math.Abs(best-wish) {
					best = v
				}
			}
		}
		return best
	}
	if k.step == 0 {
		return wish
	}
	return math.Round(wish/k.step) * k.step
}

// family is one kind of machine.
type family struct {
	name string
	hard bool // beyond what the promise is made for: reported, not promised
	draw func(r *rand.Rand) *machine
}

func two(r *rand.Rand, gainLo, gainHi, couple float64) *machine {
	m := &machine{limit: 0.1, scatter: 0.02, part: 0.02, u: 0.01, r: r}
	sizes := [2]float64{3 + 3*r.Float64(), 5 + 4*r.Float64()}
	for i, name := range [2]string{"swing", "lower shim"} {
		gain := math.Exp(math.Log(gainLo) + r.Float64()*math.Log(gainHi/gainLo))
		skew := (2*r.Float64() - 1) * couple
		k := knob{name: name}
		if i == 0 {
			k.nominalX, k.realX, k.realY = sizes[0], sizes[0]*gain, sizes[0]*gain*skew
		} else {
			k.nomY, k.realY, k.realX, k.step = sizes[1], sizes[1]*gain, sizes[1]*gain*skew, 0.01
		}
		m.knobs = append(m.knobs, k)
	}
	m.knock(2)
	return m
}

func families() []family {
	return []family{
		{"near nominal", false, func(r *rand.Rand) *machine { return two(r, 0.9, 1.1, 0.1) }},
		{"skewed up to 50 %", false, func(r *rand.Rand) *machine { return two(r, 0.7, 1.4, 0.5) }},
		{"weak or strong, 0.4 to 2", false, func(r *rand.Rand) *machine { return two(r, 0.4, 2, 0.2) }},
		{"weak or strong and skewed", false, func(r *rand.Rand) *machine { return two(r, 0.4, 2, 0.5) }},
		{"sticking", false, func(r *rand.Rand) *machine {
			m := two(r, 0.7, 1.4, 0.3)
			for i := range m.knobs {
				m.knobs[i].sticks = 0.1
			}
			return m
		}},
		{"slipping", false, func(r *rand.Rand) *machine {
			m := two(r, 0.7, 1.4, 0.3)
			for i := range m.knobs {
				m.knobs[i].slipsOff = 0.12
			}
			return m
		}},
		{"backlash", false, func(r *rand.Rand) *machine {
			m := two(r, 0.7, 1.4, 0.3)
			m.knobs[0].lost, m.knobs[0].slack = 0.03, 0.03*r.Float64()
			return m
		}},
		{"tightening disturbs", false, func(r *rand.Rand) *machine {
			m := two(r, 0.7, 1.4, 0.3)
			m.scatter, m.part = 0.045, 0.05
			return m
		}},
		{"coarse measurement", false, func(r *rand.Rand) *machine {
			m := two(r, 0.7, 1.4, 0.3)
			m.u = 0.03
			return m
		}},
		{"shim stock", false, func(r *rand.Rand) *machine {
			m := two(r, 0.7, 1.4, 0.3)
			m.knobs[1].step, m.knobs[1].stock = 0, []float64{0.02, 0.03, 0.05, 0.1, 0.2, 0.3}
			return m
		}},
		{"three jack screws", false, func(r *rand.Rand) *machine {
			// At the corners of a triangle under the plate: each moves both axes.
			m := &machine{limit: 0.1, scatter: 0.02, part: 0.02, u: 0.01, r: r}
			for i, name := range [3]string{"front screw", "left screw", "right screw"} {
				at := math.Pi * (-0.5 + 2*float64(i)/3)
				gain := 0.6 + 0.9*r.Float64()
				off := (2*r.Float64() - 1) * 0.4
				m.knobs = append(m.knobs, knob{name: name, nominalX: 4 * math.Cos(at), nomY: 4 * math.Sin(at),
					step:  1.0 / 72,
					realX: 4 * gain * math.Cos(at+off), realY: 4 * gain * math.Sin(at+off)})
			}
			m.knock(2)
			return m
		}},
		{"a sign the wrong way round", true, func(r *rand.Rand) *machine {
			m := two(r, 0.7, 1.4, 0.3)
			m.knobs[r.IntN(2)].realX *= -1
			m.knobs[1].realY *= float64(1 - 2*r.IntN(2))
			return m
		}},
		{"all of it", true, func(r *rand.Rand) *machine {
			m := two(r, 0.4, 2, 0.5)
			m.scatter, m.part, m.u = 0.03, 0.05, 0.015
			for i := range m.knobs {
				m.knobs[i].sticks, m.knobs[i].slipsOff = 0.08, 0.08
			}
			return m
		}},
	}
}
