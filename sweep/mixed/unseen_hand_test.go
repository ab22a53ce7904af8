package mixed

import (
	"math"
	"math/rand/v2"

	"tramd/sweep"
)

// walkRound is how a hand carries the arm: strokes of uneven speed, rests between them, and perhaps the way back.
type walkRound struct {
	turns, speed float64 // turns a pass; mean speed in turns a second
	passes       int
	stroke       float64 // turns in one grip of the hand
	rests        float64 // chance of a rest after a stroke
	pace         float64 // spread of the strokes' log speed
}

// path gives the spindle angle at times 1/rate apart.
func (w walkRound) path(r *rand.Rand, rate float64) (t, th []float64) {
	from, now := 2*math.Pi*r.Float64(), 0.0
	at := from
	way := math.Copysign(1, r.Float64()-0.5)
	for range max(1, w.passes) {
		for done := 0.0; done < w.turns; {
			len := math.Min(w.stroke*(0.5+r.Float64()), w.turns-done)
			speed := w.speed * math.Exp(w.pace*r.NormFloat64())
			took := len / speed
			n := max(1, int(took*rate))
			for i := range n { // the hand starts and ends each stroke slower
				u := float64(i) / float64(n)
				s := u
				if w.pace > 0 {
					s = u - 0.8*math.Sin(2*math.Pi*u)/(2*math.Pi)
				}
				t, th = append(t, now+u*took), append(th, at+way*2*math.Pi*len*s)
			}
			now, at, done = now+took, at+way*2*math.Pi*len, done+len
			if r.Float64() < w.rests {
				for n := int((0.3 + 3*r.Float64()) * rate); n > 0; n-- {
					t, th = append(t, now), append(th, at)
					now += 1 / rate
				}
			}
		}
		way = -way
	}
	return t, th
}

// shop is one sweep of the second generator.
type shop struct {
	hand       walkRound
	rate       float64
	table      relief
	air        func() series // drawn for each indicator
	white      float64
	heavy      bool    // white noise with heavy tails
	odd        float64 // share of readings far off, either way
	oddMM      float64
	stick      float64 // mm the plunger holds on before it slips
	drop       int     // stretches lost
	step       float64 // resolution
	arms       int
	late       float64 // s, the angle behind the reading
	deg        []float64
	eye        float64 // degrees
	rest       float64 // s between stations
	size       float64 // of the lean, mm/m; drawn if 0
	warm, cool float64 // mm, s
}

func (s shop) draw(r *rand.Rand) trial {
	if s.size == 0 {
		s.size = logUniform(r, 0.02, 0.6)
	}
	if s.step == 0 {
		s.step = 0.001
	}
	if s.table == nil {
		s.table = flatTable
	}
	way := 2 * math.Pi * r.Float64()
	out := trial{tilt: s.size * 1e-3 * math.Cos(way), nod: s.size * 1e-3 * math.Sin(way)}
	radius := 50 + 160*r.Float64()
	type gauge struct {
		air          series
		held, offset float64
		begun        bool
	}
	var gauges []gauge
	for i := range max(1, s.arms) {
		ind := sweep.Indicator{RadiusMM: radius, ResolutionMM: s.step}
		if i > 0 {
			ind.RadiusMM *= 0.8 + 0.4*r.Float64()
			ind.PhaseDeg = 360*float64(i)/float64(s.arms) + 10*r.NormFloat64()
		}
		out.setup.Indicators = append(out.setup.Indicators, ind)
		g := gauge{air: hush, offset: 0.5 * r.NormFloat64()}
		if s.air != nil {
			g.air = s.air()
		}
		gauges = append(gauges, g)
	}
	warm := warmUp(s.warm, math.Max(s.cool, 1e-3))
	look := func(t, tagged, th float64) {
		for i := range gauges {
			g := &gauges[i]
			ind := out.setup.Indicators[i]
			ph := th + sweep.Radians(ind.PhaseDeg)
			sin, cos := math.Sincos(ph)
			z := ind.RadiusMM*(out.tilt*cos+out.nod*sin) + s.table(ph) + g.air(t) + warm(t)
			if !g.begun {
				g.held, g.begun = z, true
			}
			if s.stick > 0 && math.Abs(z-g.held) < s.stick {
				z = g.held
			}
			g.held = z
			n := r.NormFloat64()
			if s.heavy { // Student's t with 3 degrees of freedom
				var chi float64
				for range 3 {
					e := r.NormFloat64()
					chi += e * e
				}
				n /= math.Sqrt(chi / 3)
			}
			z += s.white*n + g.offset
			if r.Float64() < s.odd {
				z += math.Copysign(s.oddMM*(0.2+r.ExpFloat64()), r.Float64()-0.5)
			}
			out.pts = append(out.pts, sweep.Point{T: t, Angle: tagged, Reading: math.Round(z/s.step) * s.step,
				Indicator: i})
		}
	}
	if s.deg != nil {
		t := 0.0
		for _, d := range s.deg {
			th := sweep.Radians(d)
			look(t, th, th+sweep.Radians(s.eye)*r.NormFloat64())
			t += s.rest * (0.5 + r.Float64())
		}
		return out
	}
	t, th := s.hand.path(r, s.rate)
	lost := make([]bool, len(t))
	for range s.drop {
		at, n := r.IntN(len(t)), int(s.rate*(0.1+1.5*r.ExpFloat64()))
		for i := at; i < min(len(t), at+n); i++ {
			lost[i] = true
		}
	}
	shift := int(s.late * s.rate)
	for i := range t {
		if !lost[i] {
			look(t[i], th[max(0, i-shift)], th[i])
		}
	}
	return out
}
