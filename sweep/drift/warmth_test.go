package drift

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

// weather is a shop's temperature as a function of the day: a year's and a day's wave, and days that are off both.
func weather(r *rand.Rand) func(day float64) float64 {
	mean, year, day := 14+8*r.Float64(), 2+6*r.Float64(), 0.5+2.5*r.Float64()
	season, hour := 2*math.Pi*r.Float64(), 2*math.Pi*r.Float64()
	off := []float64{0}
	return func(t float64) float64 {
		for len(off) <= int(t)+1 {
			off = append(off, 0.7*off[len(off)-1]+1.2*r.NormFloat64())
		}
		k := int(t)
		return mean + year*math.Sin(2*math.Pi*t/365.25+season) + day*math.Sin(2*math.Pi*t+hour) + off[k] +
			(off[k+1]-off[k])*(t-float64(k))
	}
}

// warmKind is a machine, how it leans with the temperature, and whether that is recorded.
type warmKind struct {
	perK     float64 // scatters a kelvin, at most; drawn from a fifth of that
	recorded float64 // part of the checks with a temperature
	moves    string  // "still", "wandering", "trending"
}

// warmRecord is a history with what is true of it.
type warmRecord struct {
	otherRecord
	gap, scatter float64
	rate, perK   [2]float64
}

// warmDraw makes a record of it. The truth has the temperature in it.
func warmDraw(r *rand.Rand, k warmKind, checks int) *warmRecord {
	limit := 0.03 * math.Pow(4, r.Float64())
	gap := []float64{0.25, 1, 1, 2, 7}[r.IntN(5)]
	u := limit * (0.02 + 0.06*r.Float64())
	anew := u * 1.5 * r.Float64()
	scatter := math.Hypot(u, anew)
	air := weather(r)
	o := &warmRecord{otherRecord: otherRecord{limit: limit}, gap: gap, scatter: scatter}
	for i := range o.truth {
		moves := func(float64) float64 { return 0 }
		at := limit * (1.2*r.Float64() - 0.6)
		switch k.moves {
		case "wandering":
			moves = walk(r, 0, scatter*math.Exp(math.Log(0.1)+r.Float64()*math.Log(10))/math.Sqrt(gap), gap/4)
		case "trending":
			rate := scatter * math.Exp(math.Log(0.03)+r.Float64()*math.Log(10)) / gap * float64(2*r.IntN(2)-1)
			moves = func(t float64) float64 { return rate * t }
			o.rate[i] = rate
		}
		perK := scatter * k.perK * (0.2 + 0.8*r.Float64()) * float64(2*r.IntN(2)-1)
		o.perK[i] = perK
		o.truth[i] = func(day float64) float64 { return at + moves(day) + perK*(air(day)-16) }
	}
	day := 0.0
	for range checks {
		c := Check{Time: at(day), Limit: limit, SpindleHours: math.NaN()}
		for i := range c.Axis {
			c.Axis[i] = &Value{MMPerM: o.truth[i](day) + scatter*r.NormFloat64(), U: u}
		}
		if r.Float64() < k.recorded {
			shown := math.Round(16*(air(day)+0.1*r.NormFloat64())) / 16 // a sensor's step, and that it does not sit in the column
			c.TemperatureC = &shown
		}
		o.checks, o.last = append(o.checks, c), day
		day += gap * (0.5 + r.Float64())
	}
	return o
}

// warmStudy is what came of machines of a kind.
type warmStudy struct {
	dates  calibration
	alarms float64 // of shift or trend, that began in a check
	off    float64 // root mean square by which the rate of what the temperature does not explain was missed, in scatters a gap
	held   float64 // share of the lean per kelvin whose interval of 95 % held the truth, where it is told
	told   float64 // share of axes for which it is told
}

func studyWarmth(t testing.TB, k warmKind, checks, machines int, seed uint64) warmStudy {
	r := rand.New(rand.NewPCG(seed, uint64(checks)))
	var out warmStudy
	var begun, all, told, held, off, rates float64
	for range machines {
		o := warmDraw(r, k, checks)
		tr := asked()
		on := false
		for _, row := range play(t, tr, o.checks) {
			moved := false
			for _, a := range row.Alarms {
				moved = moved || a.Kind != Outside
			}
			if moved && !on {
				begun++
			}
			on = moved
			all++
		}
		a := tr.Answer(0.95)
		for i := range Axes {
			if k.moves != "wandering" { // whose rate is nought, but a stretch cannot show that
				rates++
				off += sq((tr.Now()[i].Rate - o.rate[i]) * o.gap / o.scatter)
			}
			if perK, u, ok := a.PerKelvin(i); ok {
				told++
				if math.Abs(perK-o.perK[i]) < 1.96*u {
					held++
				}
			}
		}
		out.dates.ask(tr, o.last, o.truth, o.out)
	}
	out.alarms, out.off = begun/all, math.Sqrt(off/rates)
	out.told, out.held = told/float64(2*machines), held/math.Max(1, told)
	return out
}

// The filter with a temperature is a regression with a prior: the lean per kelvin and the level by gonum's solver, from
// the normal equations.
func TestATemperatureIsARegressor(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	p := process{steep: 0.3, tau: -1, warm: true}
	prior := perKelvin{mean: 0.2, variance: 0.09}
	var x state
	const n = 25
	// Unknowns: the level at the last check, the rate, the lean per kelvin. The level has no prior.
	a, b := mat.NewSymDense(3, nil), mat.NewVecDense(3, nil)
	a.SetSym(1, 1, 1/sq(p.steep))
	a.SetSym(2, 2, 1/prior.variance)
	b.SetVec(2, prior.mean/prior.variance)
	for k := range n {
		z, y, v := 3*r.NormFloat64(), r.NormFloat64(), 0.5+r.Float64()
		if k == 0 {
			x.begin(&p, y, v, z, prior)
		} else {
			x.predict(&p, 1, 0)
			x.update(&p, y, v, z)
		}
		row := mat.NewVecDense(3, []float64{1, float64(k - n + 1), z})
		a.SymRankOne(a, 1/v, row)
		b.AddScaledVec(b, y/v, row)
	}
	var c mat.Cholesky
	if !c.Factorize(a) {
		t.Fatal("not positive")
	}
	var want mat.VecDense
	var cov mat.SymDense
	if c.SolveVecTo(&want, b) != nil || c.InverseTo(&cov) != nil {
		t.Fatal("not solved")
	}
	near(t, "level", x.level, want.AtVec(0), 1e-9)
	near(t, "rate", x.rate, want.AtVec(1), 1e-9)
	near(t, "lean per kelvin", x.perK, want.AtVec(2), 1e-9)
	for name, v := range map[string][2]float64{
		"ll": {x.ll, cov.At(0, 0)}, "lb": {x.lb, cov.At(0, 1)}, "lk": {x.lk, cov.At(0, 2)},
		"bb": {x.bb, cov.At(1, 1)}, "bk": {x.bk, cov.At(1, 2)}, "kk": {x.kk, cov.At(2, 2)},
	} {
		near(t, name, v[0], v[1], 1e-9)
	}
	mean, variance := x.lean(2)
	near(t, "lean 2 K up", mean, want.AtVec(0)+2*want.AtVec(2), 1e-9)
	near(t, "its variance", variance, cov.At(0, 0)+4*cov.At(0, 2)+4*cov.At(2, 2), 1e-9)
}

// What the chart says of a step or a ramp beside the temperature and a settling curve is what least squares say, by
// gonum's QR.
func TestTheChartTakesTheTemperatureOff(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	c := newChart(1, scale{}, 0)
	const n, from = 40, 22
	var y, w, z, day []float64
	for k := range n {
		zk := 4*math.Sin(float64(k)/5) + r.NormFloat64()
		o := observation{at: at(float64(k)), t: float64(k) + 0.3*r.Float64(), r: 0.5 + r.Float64(), warm: warm{z: zk}}
		o.y = 0.7*zk + 8*math.Exp(-o.t/tausInGaps[0]) + r.NormFloat64()
		if k >= from {
			o.y += 2
		}
		c.add(&o)
		y, w, z, day = append(y, o.y), append(w, 1/math.Sqrt(o.r)), append(z, zk), append(day, o.t-c.start)
	}
	leaning, ok := c.warmer(c.flat())
	if !ok {
		t.Fatal("the temperature does not pay")
	}
	settled, ok := c.settled(leaning)
	if !ok || settled.curve != 0 {
		t.Fatal("the curve does not pay")
	}
	solve := func(b *baseline, extra func(k int) float64) float64 {
		cols := 3
		if b.curve >= 0 {
			cols++
		}
		m, v := mat.NewDense(n, cols, nil), mat.NewVecDense(n, nil)
		for k := range n {
			row := []float64{extra(k), 1, z[k], math.Exp(-day[k] / tausInGaps[0])}[:cols]
			for j, x := range row {
				m.Set(k, j, w[k]*x)
			}
			v.SetVec(k, w[k]*y[k])
		}
		var out mat.VecDense
		if err := out.SolveVec(m, v); err != nil {
			t.Fatal(err)
		}
		return out.AtVec(0)
	}
	knots := map[int]*knot{}
	for i := range c.knots {
		knots[c.knots[i].k] = &c.knots[i]
	}
	for _, b := range []baseline{leaning, settled} {
		x := knots[from]
		num, den := c.step(&b, x)
		near(t, "step", num/den, solve(&b, func(k int) float64 {
			if k >= from {
				return 1
			}
			return 0
		}), 1e-9)
		num, den, _ = c.ramp(&b, x)
		near(t, "ramp", num/den, solve(&b, func(k int) float64 { return math.Max(0, day[k]-x.last) }), 1e-9)
	}
}

// A temperature that is recorded takes a season's swing off the alarms, and what it is said to do is what it does.
func TestTheTemperatureExplains(t *testing.T) {
	t.Parallel()
	blind := studyWarmth(t, warmKind{perK: 1, moves: "still"}, 80, 30, 3)
	seeing := studyWarmth(t, warmKind{perK: 1, recorded: 1, moves: "still"}, 80, 30, 3)
	t.Logf(
		"alarms begin in one check of %.0f without and %.0f with it; rates off by %.3f and %.3f; told for %.0f %%, held %.0f %%",
		1/blind.alarms, 1/seeing.alarms, blind.off, seeing.off, 100*seeing.told, 100*seeing.held)
	if seeing.alarms > 1.0/250 || seeing.alarms > blind.alarms/3 { // 3,200 checks: some 9 are to be expected
		t.Errorf("an alarm begins in one check of %.0f with the temperature, of %.0f without", 1/seeing.alarms,
			1/blind.alarms)
	}
	if seeing.off > blind.off/1.5 {
		t.Errorf("rates are off by %.3f scatters a gap with it, by %.3f without", seeing.off, blind.off)
	}
	if seeing.told < 0.85 || seeing.held < 0.88 { // 80 axes: a share of 95 % is known to 2.5 %
		t.Errorf("told for %.0f %% of axes, and held the truth in %.0f %%", 100*seeing.told, 100*seeing.held)
	}
	if blind.told != 0 {
		t.Error("a temperature that was not recorded had an effect")
	}
}

// One that does nothing costs nothing: no more alarms, and next to nowhere is anything said of it.
func TestATemperatureThatDoesNothing(t *testing.T) {
	t.Parallel()
	without := studyWarmth(t, warmKind{moves: "still"}, 80, 30, 4)
	with := studyWarmth(t, warmKind{recorded: 1, moves: "still"}, 80, 30, 4)
	t.Logf("alarms begin in %.4f and %.4f of checks, rates off by %.4f and %.4f; told for %.1f %%", without.alarms,
		with.alarms, without.off, with.off, 100*with.told)
	if with.alarms > 1.0/250 || with.off > 1.25*without.off {
		t.Errorf("alarms begin in %.4f of checks with it and %.4f without; rates are off by %.4f and %.4f", with.alarms,
			without.alarms, with.off, without.off)
	}
	if with.told > 0.05 {
		t.Errorf("told for %.0f %% of axes", 100*with.told)
	}
}

// The median against sorting; temperatures as a sensor with steps of 1/16 K gives them.
func TestTheReferenceIsTheMedian(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	var all temperatures
	var sorted []float64
	for range 3000 {
		c := math.Round(16*(20+8*r.NormFloat64())) / 16
		all.add(0, c)
		sorted = append(sorted, c)
		slices.Sort(sorted)
		if want := sorted[len(sorted)/2]; math.Abs(all.median()-want) > stepK/2+1e-9 {
			t.Fatalf("%d: %v, want %v", len(sorted), all.median(), want)
		}
	}
	near(t, "variance", all.ss/float64(all.n-1), stat.Variance(sorted, nil), 1e-9)
}

func TestAbsurdTemperatures(t *testing.T) {
	for _, c := range []float64{-41, 85, 80.01, 500, math.NaN(), math.Inf(1), math.Inf(-1)} {
		k := check(1, 0, 0, 0.004)
		k.TemperatureC = &c
		if _, err := New().Check(k); err == nil || !strings.Contains(err.Error(), "degrees Celsius, -40 to 80") {
			t.Errorf("%v: %v", c, err)
		}
	}
}

// Checks whose temperature is not known say what they say all the same, with less weight where it matters.
func TestSomeTemperaturesAreMissing(t *testing.T) {
	t.Parallel()
	none := studyWarmth(t, warmKind{perK: 1, moves: "still"}, 80, 30, 6)
	half := studyWarmth(t, warmKind{perK: 1, recorded: 0.5, moves: "still"}, 80, 30, 6)
	t.Logf("alarms begin in one check of %.0f and %.0f; told for %.0f %%, held %.0f %%", 1/none.alarms, 1/half.alarms,
		100*half.told, 100*half.held)
	if half.alarms > none.alarms || half.told < 0.5 ||
		half.held < 0.8 { // what is guessed of neighbouring checks is wrong alike
		t.Errorf("alarms begin in one check of %.0f and %.0f; told for %.0f %%, held %.0f %%", 1/none.alarms,
			1/half.alarms, 100*half.told, 100*half.held)
	}
}

// What was learned of the temperature outlives an event, more widely: it is the machine's build that leans, and an
// adjustment leaves that as it is.
func TestWhatIsLearnedOfTheTemperatureOutlivesAnEvent(t *testing.T) {
	r := rand.New(rand.NewPCG(21, 22))
	air := weather(r)
	tr := New()
	next := func(day float64) Check {
		c := check(day, 0.01+0.004*(air(day)-16)+0.004*r.NormFloat64(), 0.004*r.NormFloat64(), 0.004)
		celsius := air(day)
		c.TemperatureC = &celsius
		return c
	}
	for day := 0.0; day < 60; day += 0.7 {
		play(t, tr, []Check{next(day)})
	}
	before, u, ok := tr.Answer(0.95).PerKelvin(0)
	t.Logf("before: %.5f ± %.5f", before, u)
	if !ok || math.Abs(before-0.004) > 3*u || u > 0.0006 {
		t.Errorf("before: %.5f ± %.5f mm/m per kelvin, told %v", before, u, ok)
	}
	if err := tr.Event(Event{Time: at(60), Kind: "adjusted"}); err != nil {
		t.Fatal(err)
	}
	for day := 60.5; day < 66; day += 0.7 {
		play(t, tr, []Check{next(day)})
	}
	a := tr.Answer(0.95)
	perK, u, ok := a.PerKelvin(0)
	t.Logf("after: %.5f ± %.5f", perK, u)
	if !ok || math.Abs(perK-0.004) > 3*u || u > 0.0015 {
		t.Errorf("eight checks after an adjustment: %.5f ± %.5f mm/m per kelvin, told %v", perK, u, ok)
	}
	if w := a.Warmth[1]; w == nil || w.Chance > 0.5 {
		t.Errorf("nod does not lean with it: %+v", w)
	}
}

// One that leans and is knocked loses its alarm when it is set back, whatever the season has come to meanwhile.
func TestALeaningMachineThatGoesBackLosesItsAlarm(t *testing.T) {
	const machines = 20
	var raised, named, gone int
	for seed := range uint64(machines) {
		r := rand.New(rand.NewPCG(seed, 41))
		tr := New()
		for day := range 125 {
			celsius := 4 + 0.2*float64(day) + 1.5*r.NormFloat64()
			tilt := 0.004*(celsius-14) + 0.004*r.NormFloat64()
			if day >= 60 && day < 105 {
				tilt += 0.02
			}
			c := check(float64(day), tilt, 0.004*r.NormFloat64(), 0.004)
			c.TemperatureC = &celsius
			row := play(t, tr, []Check{c})[0]
			shift := len(row.Alarms) > 0 && row.Alarms[0].Kind == Shift &&
				math.Abs(row.Alarms[0].SizeMMPerM-0.02) < 0.006
			switch {
			case day == 104 && row.Alarm != None:
				raised++
				if shift {
					named++
				}
			case day == 124 && row.Alarm == None:
				gone++
			}
		}
	}
	t.Logf("raised %d, named and sized %d, gone %d of %d", raised, named, gone, machines)
	if raised < machines || named < machines-3 || gone < machines-3 {
		t.Errorf("of %d machines %d raised an alarm, %d named it and its size, and %d lost it 20 checks after",
			machines, raised, named, gone)
	}
}
