package mixed

import (
	"math"
	"math/rand/v2"

	"tramd/sweep"
)

// family draws sweeps of one kind with a known lean. Every parameter is drawn again for each sweep, over about a factor
// of ten, so that the study does not judge one lucky setting.
type family struct {
	name string
	long bool // enough readings that the interval must also be narrow
	draw func(r *rand.Rand) trial
}

type trial struct {
	pts       []sweep.Point
	setup     sweep.Setup
	tilt, nod float64 // slopes
}

// scene is what is in the sweep; the zero value of a field leaves it out.
type scene struct {
	n                int     // readings
	turns            float64 // per pass
	from             float64 // radians
	seconds          float64 // per pass
	passes           int     // each the other way round than the last
	white, slow, tau float64 // mm, mm, s
	form, fall       float64 // mm rms of harmonic 2, fall-off
	warm, warmTau    float64 // mm at the end, s
	slots            int
	slotDeg, slotMM  float64
	chips            float64 // share of readings
	chipMM           float64
	gapDeg           float64
	hysteresis       float64 // mm, half
	delay            float64 // s, encoder late
	resolution       float64
	stations         int
	perStation       int
	eye              float64 // degrees, standard deviation of an angle set by eye
	indicators       int
	uneven           float64 // depth of speed variation
	knock            float64 // mm
	radiusU          float64
	grooves          float64 // pitch of straight grooves across the table, mm
	floor            float64 // the indicator ends its travel this far below the middle, mm
	walk             float64 // mm over the sweep, random walk
	signMM           float64 // half the offset between the ways the reading moves
}

func logUniform(r *rand.Rand, lo, hi float64) float64 {
	return lo * math.Exp(r.Float64()*math.Log(hi/lo))
}

func (s scene) draw(r *rand.Rand) trial {
	radius := 60 + 140*r.Float64()
	size, way := logUniform(r, 0.02e-3, 0.6e-3), 2*math.Pi*r.Float64()
	t := trial{tilt: size * math.Cos(way), nod: size * math.Sin(way)}
	if s.resolution == 0 {
		s.resolution = 0.001
	}
	count := max(1, s.indicators)
	used := radius * (1 + s.radiusU/radius*r.NormFloat64())
	for i := range count {
		t.setup.Indicators = append(t.setup.Indicators, sweep.Indicator{
			RadiusMM: used, RadiusUMM: s.radiusU, ResolutionMM: s.resolution,
			PhaseDeg: float64(i) * 360 / float64(count),
		})
	}
	// The surface.
	var fc, fs [14]float64
	for k := 2; k < len(fc); k++ {
		f := s.form * math.Pow(float64(k)/2, -s.fall)
		fc[k], fs[k] = f*r.NormFloat64(), f*r.NormFloat64()
	}
	type arc struct{ mid, half, depth float64 }
	var arcs []arc
	for i := range s.slots {
		mid := 2*math.Pi*(float64(i)+0.7*r.Float64())/float64(s.slots) + s.from
		arcs = append(arcs, arc{mid, sweep.Radians(s.slotDeg) / 2 * (0.5 + r.Float64()),
			s.slotMM * (0.5 + r.Float64())})
	}
	gapAt := 2 * math.Pi * r.Float64()
	grooveAt, grooveWidth := r.Float64(), 0.12+0.12*r.Float64()
	surface := func(th float64) (z float64, off bool) {
		if s.grooves > 0 {
			if x := radius*math.Cos(th)/s.grooves + grooveAt; x-math.Floor(x) < grooveWidth {
				return -5, true
			}
		}
		for k := 2; k < len(fc); k++ {
			z += fc[k]*math.Cos(float64(k)*th) + fs[k]*math.Sin(float64(k)*th)
		}
		for _, a := range arcs {
			if math.Abs(math.Remainder(th-a.mid, 2*math.Pi)) < a.half {
				return z - a.depth, true
			}
		}
		return z, false
	}
	type walker struct {
		slow, at, offset, play, walk float64
		begun                        bool
	}
	walkers := make([]walker, count)
	for i := range walkers {
		walkers[i].slow, walkers[i].offset = s.slow*r.NormFloat64(), 0.3*r.NormFloat64()
	}
	if s.stations > 0 {
		s.seconds = 6 * float64(s.stations)
	}
	total := s.seconds * float64(max(1, s.passes))
	knockAt := total * (0.2 + 0.6*r.Float64())
	take := func(time, tagged, th float64) {
		for i := range walkers {
			w := &walkers[i]
			if s.tau > 0 {
				f := math.Exp(-(time - w.at) / s.tau)
				w.slow = w.slow*f + s.slow*math.Sqrt(1-f*f)*r.NormFloat64()
			}
			was := w.at
			w.at = time
			ph := th + sweep.Radians(t.setup.Indicators[i].PhaseDeg)
			z, _ := surface(ph)
			z += radius * (t.tilt*math.Cos(ph) + t.nod*math.Sin(ph))
			if s.warm != 0 {
				z += s.warm * (1 - math.Exp(-time/s.warmTau)) / (1 - math.Exp(-total/s.warmTau))
			}
			if s.hysteresis > 0 { // a plunger with play follows only when pushed to the end of it
				if !w.begun {
					w.play, w.begun = z+s.hysteresis*(2*r.Float64()-1), true
				}
				w.play = math.Min(math.Max(w.play, z-s.hysteresis), z+s.hysteresis)
				z = w.play
			}
			if s.signMM > 0 {
				z, w.play = z+math.Copysign(s.signMM, w.play-z), z
			}
			w.walk += s.walk * math.Sqrt((time-was)/total) * r.NormFloat64()
			z += w.walk
			z += w.slow + w.offset + s.white*r.NormFloat64()
			if s.knock != 0 && time > knockAt {
				z += s.knock
			}
			if r.Float64() < s.chips {
				z += s.chipMM * (0.3 + r.ExpFloat64())
			}
			if s.floor > 0 {
				z = math.Max(z, w.offset-s.floor)
			}
			z = math.Round(z/s.resolution) * s.resolution
			t.pts = append(t.pts, sweep.Point{T: time, Angle: tagged, Reading: z, Indicator: i})
		}
	}
	if s.stations > 0 {
		time := 0.0
		for i := range s.stations {
			th := s.from + 2*math.Pi*float64(i)/float64(s.stations)
			real := th + sweep.Radians(s.eye)*r.NormFloat64()
			for range max(1, s.perStation) {
				take(time, th, real)
				time += 0.2
			}
			time += 3 + 5*r.Float64()
		}
		return t
	}
	passes := max(1, s.passes)
	ripple := 2 * math.Pi * r.Float64()
	place := func(u float64) float64 { // share of the pass -> share of the way
		return u + s.uneven/(4*math.Pi)*(math.Sin(4*math.Pi*u+ripple)-math.Sin(ripple))
	}
	for p := range passes {
		for i := range s.n / passes {
			u := float64(i) / float64(s.n/passes)
			late := u - s.delay/s.seconds
			angle := func(u float64) float64 {
				way := place(u)
				if p%2 == 1 {
					way = 1 - way
				}
				return s.from + 2*math.Pi*s.turns*way
			}
			th, tagged := angle(u), angle(math.Max(late, 0))
			if math.Abs(math.Remainder(th-gapAt, 2*math.Pi)) < sweep.Radians(s.gapDeg)/2 {
				continue
			}
			take(float64(p)*s.seconds+u*s.seconds, tagged, th)
		}
	}
	return t
}

// hand is a sweep turned by hand once or a few times, the ground for the long families.
func hand(r *rand.Rand) scene {
	turns := []float64{1, 1, 1, 2, 3}[r.IntN(5)]
	return scene{
		n: int(logUniform(r, 300, 3000)), turns: turns, from: 2 * math.Pi * r.Float64(),
		seconds: turns * logUniform(r, 10, 60),
		white:   logUniform(r, 0.0003, 0.003), uneven: 0.6 * r.Float64(), fall: 1 + 1.5*r.Float64(),
	}
}

func families() []family {
	byEye := func(n int) func(r *rand.Rand) trial {
		return func(r *rand.Rand) trial {
			return scene{
				stations: n, from: []float64{0, 0, math.Pi / 4, 0.3}[r.IntN(4)], perStation: 1 + r.IntN(2)*r.IntN(5),
				white: logUniform(r, 0.0007, 0.003),
				form:  logUniform(r, 0.0002, 0.003), fall: 1 + 1.5*r.Float64(), eye: logUniform(r, 0.3, 2),
				warm: 0.002 * r.NormFloat64(), warmTau: 60,
			}.draw(r)
		}
	}
	dense := func(change func(r *rand.Rand, s *scene)) func(r *rand.Rand) trial {
		return func(r *rand.Rand) trial {
			s := hand(r)
			change(r, &s)
			return s.draw(r)
		}
	}
	slow := func(r *rand.Rand, s *scene) { s.slow, s.tau = logUniform(r, 0.0005, 0.004), logUniform(r, 0.3, 8) }
	form := func(r *rand.Rand, s *scene) { s.form = logUniform(r, 0.0005, 0.008) }
	return []family{
		{"4 stations by eye", false, byEye(4)},
		{"8 stations by eye", false, byEye(8)},
		{"12 stations by eye", false, byEye(12)},
		{"even turning", true, dense(func(r *rand.Rand, s *scene) { s.uneven = 0 })},
		{"slow noise", true, dense(slow)},
		{"form", true, dense(func(r *rand.Rand, s *scene) { form(r, s); slow(r, s) })},
		{"form with a gap", true, dense(func(r *rand.Rand, s *scene) {
			form(r, s)
			slow(r, s)
			s.gapDeg = 30 + 70*r.Float64()
		})},
		{"chips", true, dense(func(r *rand.Rand, s *scene) {
			form(r, s)
			s.chips, s.chipMM = logUniform(r, 0.005, 0.1), logUniform(r, 0.01, 0.2)
		})},
		{"slots", true, dense(func(r *rand.Rand, s *scene) {
			form(r, s)
			s.slots, s.slotDeg, s.slotMM = 1+r.IntN(6), logUniform(r, 4, 15), logUniform(r, 0.08, 3)
		})},
		{"warming", true, dense(func(r *rand.Rand, s *scene) {
			s.warm, s.warmTau = logUniform(r, 0.002, 0.015)*math.Copysign(1, r.NormFloat64()),
				s.seconds*logUniform(r, 0.3, 5)
		})},
		{"both ways, hysteresis", true, dense(func(r *rand.Rand, s *scene) {
			s.passes, s.hysteresis = 2, logUniform(r, 0.0005, 0.004)
			form(r, s)
		})},
		{"coarse resolution", true, dense(func(r *rand.Rand, s *scene) {
			s.resolution = []float64{0.005, 0.01}[r.IntN(2)]
			slow(r, s)
		})},
		{"two indicators", true, dense(func(r *rand.Rand, s *scene) { s.indicators = 2; form(r, s); slow(r, s) })},
		{"late encoder", true, dense(func(r *rand.Rand, s *scene) {
			s.passes, s.delay = 2, logUniform(r, 0.005, 0.15)
			slow(r, s)
		})},
		{"knocked stylus", true, dense(func(r *rand.Rand, s *scene) {
			s.knock = logUniform(r, 0.02, 0.2) * math.Copysign(1, r.NormFloat64())
		})},
		{"grooved table, 60 readings up", true, dense(func(r *rand.Rand, s *scene) {
			s.n = int(logUniform(r, 60, 600) * s.turns)
			s.grooves, s.floor = 40+60*r.Float64(), 0.2+r.Float64()
			form(r, s)
		})},
		{"end of travel", true, dense(func(r *rand.Rand, s *scene) {
			s.floor = logUniform(r, 0.005, 0.05)
			form(r, s)
		})},
		{"random walk", true, dense(func(r *rand.Rand, s *scene) { s.walk = logUniform(r, 0.001, 0.01) })},
		{"arc of 150 to 300 degrees", true, dense(func(r *rand.Rand, s *scene) {
			s.turns = (150 + 150*r.Float64()) / 360
			s.form = logUniform(r, 0.0002, 0.002)
		})},
		{"both ways, sign", true, dense(func(r *rand.Rand, s *scene) {
			s.passes, s.signMM = 2, logUniform(r, 0.0005, 0.004)
			form(r, s)
		})},
		{"late encoder, form", true, dense(func(r *rand.Rand, s *scene) {
			s.passes, s.delay = 2, logUniform(r, 0.005, 0.2)
			form(r, s)
		})},
		{"24 to 72 settled stations", false, func(r *rand.Rand) trial {
			return scene{stations: 24 * (1 + r.IntN(3)), white: logUniform(r, 0.0003, 0.003),
				form: logUniform(r, 0.0005, 0.005), fall: 1 + r.Float64(), eye: logUniform(r, 0.1, 1),
				chips: 0.05 * float64(r.IntN(2)), chipMM: 0.05}.draw(r)
		}},
		{"8 stations, one on a chip", false, func(r *rand.Rand) trial {
			return scene{stations: 8, white: logUniform(r, 0.0005, 0.002), form: logUniform(r, 0.0003, 0.002),
				fall: 1.5, chips: 0.06, chipMM: 0.1}.draw(r)
		}},
		{"radius not well known", true, dense(func(r *rand.Rand, s *scene) { s.radiusU = logUniform(r, 0.3, 3) })},
	}
}
