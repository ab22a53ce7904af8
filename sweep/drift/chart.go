package drift

import (
	"math"
	"math/bits"
	"time"
)

// chart looks, at each check, for a step or a ramp that began at an earlier one. It keeps running sums, so that one
// candidate costs the same however long ago it began; and the further back, the fewer candidates are kept.
type chart struct {
	floor         float64 // variance that the scatter cannot be less than
	carry         scale   // of the scatter, from earlier segments
	fits          settles
	perK          float64 // what was known of the lean per kelvin, taken off every check
	zero          float64 // the first check's temperature, as observations count it
	warm          warmed
	all           knot   // the sums over all checks
	knots         []knot // where a change may have begun, the oldest first; the last is as all
	start, origin float64
}

// knot is what is kept of the first k checks.
type knot struct {
	k int
	sums
	last     float64 // the time of the last of them, of t
	at, next time.Time
}

// sums are weighted: w, w*y, w*t ... since the chart began; f are the settling curves.
type sums struct {
	w, y, yy, t, tt, ty float64
	f, ft               [settleCurves]float64
	z, zt               float64 // of the temperature
}

// settleCurves is how many of the bank's time constants the chart allows for: the quickest. What settles more slowly is
// a machine that moves, and slower curves would pass for a ramp or an early step.
const settleCurves = 2

// settles are the sums the settling curves need as totals only.
type settles struct {
	tau    [settleCurves]float64
	ff, fy [settleCurves]float64
}

// warmed are the sums of the temperature that are needed as totals only.
type warmed struct {
	zz, zy float64
	zf     [settleCurves]float64
}

func newChart(gap float64, carry scale, perK float64) *chart {
	c := &chart{carry: carry, perK: perK}
	for i := range c.fits.tau {
		c.fits.tau[i] = tausInGaps[i] * gap
	}
	return c
}

func (c *chart) n() int { return c.all.k }

// add takes in a check.
func (c *chart) add(o *observation) {
	z := o.z
	w, t, y := 1/(o.r+float64(o.dim)), o.t, o.y-c.perK*z
	if c.all.k == 0 {
		c.start, c.origin, c.zero = t, y, z
	} else {
		c.knots[len(c.knots)-1].next = o.at
	}
	t, y, z = t-c.start, y-c.origin, z-c.zero
	s := &c.all
	s.k++
	s.last, s.at = t, o.at
	s.w += w
	s.y += w * y
	s.yy += w * y * y
	s.t += w * t
	s.tt += w * t * t
	s.ty += w * t * y
	if z != 0 {
		s.z += w * z
		s.zt += w * z * t
		c.warm.zz += w * z * z
		c.warm.zy += w * z * y
	}
	for i, tau := range c.fits.tau {
		if t > 30*tau { // settled to the last bit that matters
			continue
		}
		f := math.Exp(-t / tau)
		s.f[i] += w * f
		s.ft[i] += w * f * t
		c.fits.ff[i] += w * f * f
		c.fits.fy[i] += w * f * y
		c.warm.zf[i] += w * f * z
	}
	if s.k%8 == 0 {
		c.thin()
	}
	c.knots = append(c.knots, *s)
}

// thin drops candidates so that those so many checks back stand about a fifth of that apart, and nearer where few
// checks came before them.
func (c *chart) thin() {
	kept := c.knots[:0]
	for _, x := range c.knots {
		age, apart := c.all.k-x.k, 8<<bits.TrailingZeros(uint(x.k))
		if age < nearChecks || age < apart || x.k < min(apart, 2*nearChecks) {
			kept = append(kept, x)
		}
	}
	c.knots = kept
}

// change is what a candidate would explain.
type change struct {
	ramp  bool
	from  int       // the first check that was touched
	since time.Time // when that was
	gain  float64   // log of how much likelier than nothing, its size averaged over
	size  float64   // mm/m: the step, or what the ramp has come to by the last check
	rate  float64   // mm/m per day, of a ramp
	level float64   // before it, at the temperature mz
	perK  float64   // mm/m, by which the temperature's say was taken off
	mz    float64   // as observations count temperatures
}

// finding is what one look at the chart gives.
type finding struct {
	evidence     float64 // of all candidates together, as a normal deviate
	step, ramp   change
	steps, ramps float64 // how much likelier than nothing they are, all of a kind together
}

// What a ramp must overcome, since a step is the simpler tale; what a lone check must, since one chip under the stylus
// makes it; and what the chart leaves out. All are chosen. The sizes of a change, of settling and of a lean per kelvin
// are the bank's: changeSize, settleReach, warmPrior.
const (
	dearer       = 1.5  // log by which a ramp, a lone check and a settling curve must outdo the plainer tale
	hopelessTale = 60.0 // log by which a baseline is less likely than the best, beyond which nothing saves it
	ignored      = 2.0  // a candidate with less to say is left out of the sum
	leastSeen    = 6    // checks before anything is said
	leastFree    = 3    // degrees of freedom of the scatter
	nearChecks   = 32   // candidates this near are all looked at, those before ever more sparsely
	mostStands   = 16   // how many a candidate may stand for that were left out
)

// lead is by how much the ramp is the better name: the log of how much likelier ramps are than steps, wherever either
// began, in the same checks.
func (f finding) lead() float64 {
	switch {
	case f.steps == 0 && f.ramps == 0:
		if math.IsInf(f.ramp.gain, -1) {
			return math.Inf(-1)
		}
		return f.ramp.gain - f.step.gain
	case f.ramps == 0:
		return math.Inf(-1)
	case f.steps == 0:
		return math.Inf(1)
	}
	return math.Log(f.ramps / f.steps)
}

// best is the better name of the two.
func (f finding) best() change {
	if f.lead() > 0 {
		return f.ramp
	}
	return f.step
}

// baseline is what is fitted when nothing happened: a level, and where it pays the temperature and a settling curve.
type baseline struct {
	w      float64
	my     float64
	square float64 // of the residuals, with what was carried
	dof    float64 // of that, the change itself taken off
	floor  float64 // of the square
	curve  int     // -1: none
	mf     float64
	ff, fy float64 // of the curve about its mean, and about the temperature
	warm   bool
	mz     float64
	zz, zy float64 // of the temperature about its mean
	fz     float64 // of the curve on the temperature
	pays   float64 // log of its gain over the level alone
}

// flat is the baseline without a curve.
func (c *chart) flat() baseline {
	n, s := c.n(), &c.all.sums
	b := baseline{w: s.w, my: s.y / s.w, curve: -1}
	b.square = max(0, s.yy-s.y*b.my) + c.carry.square
	b.dof = float64(n) - 2 + c.carry.dof
	b.floor = c.floor * b.dof
	b.square = max(b.square, b.floor)
	return b
}

// warmer is the baseline that leans with the temperature besides; ok is false when that does not pay.
func (c *chart) warmer(flat baseline) (b baseline, ok bool) {
	s := &c.all.sums
	mz := s.z / s.w
	zz := c.warm.zz - s.z*mz
	if zz < 1e-6*s.w || flat.dof-1 < leastFree {
		return b, false
	}
	zy := c.warm.zy - s.z*flat.my
	z2 := zy * zy / zz
	g := flat.gain(z2, sq(warmPrior)*zz)
	if g < ignored {
		return b, false
	}
	b = flat
	b.warm, b.mz, b.zz, b.zy, b.pays = true, mz, zz, zy, g
	b.square = max(b.floor, b.square-z2)
	b.dof--
	return b, true
}

// settled is the baseline with the curve that pays best; ok is false when none pays.
func (c *chart) settled(flat baseline) (b baseline, ok bool) {
	pays := dearer
	s := &c.all.sums
	for i := range c.fits.tau {
		mf := s.f[i] / s.w
		ff := c.fits.ff[i] - s.f[i]*mf
		fy := c.fits.fy[i] - s.f[i]*flat.my
		fz := 0.0
		if flat.warm {
			fz = (c.warm.zf[i] - s.f[i]*flat.mz) / flat.zz
			ff -= fz * fz * flat.zz
			fy -= fz * flat.zy
		}
		if ff < 1e-6*s.w || flat.dof-1 < leastFree {
			continue
		}
		z2 := fy * fy / ff
		if z2 < flat.leastSquares(leastZ2OfCurve) {
			continue
		}
		if g := flat.gain(z2, sq(settleReach)*ff); g > pays {
			pays = g
			b, ok = flat, true
			b.curve, b.mf, b.ff, b.fy, b.fz = i, mf, ff, fy, fz
			b.square = max(b.floor, b.square-z2)
			b.dof--
			b.pays = flat.pays + g
		}
	}
	return b, ok
}

// gain is the log of the likelihood ratio of a regressor that explains z2 of the squares, its coefficient averaged over
// a normal prior of relative variance v.
func (b *baseline) gain(z2, v float64) float64 {
	z := b.deviate(z2)
	return 0.5*z*z*v/(1+v) - 0.5*math.Log1p(v)
}

// stepGain is gain for a step that den units of information tell of. Half the steps are of any size about changeSize,
// half are just that: a chart is quickest for the size that it is made for (E. S. Page, Biometrika 41 (1954) 100-115),
// and one of a scatter is the smallest worth finding soon.
func (b *baseline) stepGain(z2, den float64) float64 {
	z := b.deviate(z2)
	v := sq(changeSize) * den
	any := 0.5*z*z*v/(1+v) - 0.5*math.Log1p(v)
	just := z*math.Sqrt(v) - v/2 - math.Ln2 // of either sign
	if any < just {
		any, just = just, any
	}
	return any + math.Log1p(math.Exp(just-any)) - math.Ln2
}

// deviate is the normal deviate of a regressor that explains z2 of the squares.
func (b *baseline) deviate(z2 float64) float64 {
	rest := max(b.square-z2, b.floor, 1e-12*b.square)
	return normalOfT(math.Sqrt(z2*b.dof/rest), b.dof)
}

// speaks is false while there is too little to say.
func (c *chart) speaks() bool {
	if c.n() < leastSeen {
		return false
	}
	flat := c.flat()
	return flat.dof >= leastFree && flat.square > 0
}

// look compares all candidates. Without names the evidence alone is right, and costs much less: nearly all candidates
// have nothing to say.
func (c *chart) look(names bool) finding {
	out := finding{step: change{gain: math.Inf(-1)}, ramp: change{gain: math.Inf(-1)}}
	var room [mostTales]baseline
	tales := c.tales(room[:0])
	best, sum := 0.0, 0.0
	for i := range tales {
		best = max(best, tales[i].pays)
	}
	for i := range tales {
		if behind := best - tales[i].pays; behind < hopelessTale {
			sum += c.scan(&tales[i], behind, names, &out)
		}
	}
	out.evidence = math.Sqrt(2 * math.Log1p(sum))
	return out
}

const mostTales = 4

// tales are the explanations of the checks without a change, added to a slice: where the beginning looks like settling,
// or all of it like the temperature, a change must outdo that tale or come on top of it.
func (c *chart) tales(tales []baseline) []baseline {
	flat := c.flat()
	tales = append(tales, flat)
	if settled, ok := c.settled(flat); ok {
		tales = append(tales, settled)
	}
	if warm, ok := c.warmer(flat); ok {
		tales = append(tales, warm)
		if settled, ok := c.settled(warm); ok {
			tales = append(tales, settled)
		}
	}
	return tales
}

// scan tries every candidate against a baseline by which the best one without a candidate is likelier.
func (c *chart) scan(b *baseline, pays float64, names bool, out *finding) (sum float64) {
	n := c.n()
	bar := newBars(b, pays, names, out)
	before := n
	for i := len(c.knots) - 2; i >= 0; i-- { // a change at the last check of all would begin with the next
		x := &c.knots[i]
		stands := min(float64(before-x.k), mostStands) // for itself and those that were dropped
		before = x.k
		m := n - x.k
		if x.k > 1 && !bar.hidesStep(&c.all, x) {
			if num, den := c.step(b, x); num*num > bar.step*den {
				g := b.stepGain(num*num/den, den) - pays
				if m == 1 {
					g -= dearer
				}
				w := weight(g) * stands
				sum += w
				out.steps += w
				if g > out.step.gain {
					size := num / den
					out.step = change{from: x.k, since: x.next, gain: g, size: size, level: c.origin +
						b.my - size*(b.w-x.w)/b.w}
					c.warms(b, &out.step, size*(c.all.z-x.z-(b.w-x.w)*b.mz))
					bar.named(out)
				}
			}
		}
		if (m >= 4 || x.k == 1) && !bar.hidesRamp(&c.all, x) { // from the very beginning: nothing flat before it
			w := c.tryRamp(b, x, bar.ramp, pays, out) * stands
			sum += w
			out.ramps += w
			bar.named(out)
		}
	}
	return sum
}

func (c *chart) tryRamp(b *baseline, x *knot, least, pays float64, out *finding) float64 {
	span := c.all.last - x.last
	if span < leastDays { // what moved within one sitting has no rate a day
		return 0
	}
	num, den, sg := c.ramp(b, x)
	if num*num <= least*den {
		return 0
	}
	g := b.gain(num*num/den, sq(changeSize/span)*den) - pays - dearer
	if g > out.ramp.gain {
		rate := num / den
		out.ramp = change{ramp: true, from: x.k - 1, since: x.at, gain: g, rate: rate, size: rate * span,
			level: c.origin + b.my - rate*sg/b.w}
		c.warms(b, &out.ramp, rate*c.rampZ(b, x, sg))
	}
	return weight(g)
}

// weight is what a candidate adds to the evidence.
func weight(gain float64) float64 {
	if gain < ignored {
		return 0
	}
	return math.Exp(min(gain, 600))
}

// step regresses on a step after a knot: the size is num/den, the squares it explains num*num/den. den is 0 where the
// step looks like the baseline.
func (c *chart) step(b *baseline, at *knot) (num, den float64) {
	end := &c.all
	gw := end.w - at.w
	num = end.y - at.y - gw*b.my
	den = gw * at.w / b.w
	gz := 0.0
	if b.warm {
		gz = end.z - at.z - gw*b.mz
		if num, den = b.cooled(num, den, gz); den == 0 {
			return 0, 0
		}
	}
	if b.curve >= 0 {
		gf := end.f[b.curve] - at.f[b.curve] - gw*b.mf - b.fz*gz
		num -= gf * b.fy / b.ff
		rest := den - gf*gf/b.ff
		if rest < 1e-3*den {
			return 0, 0
		}
		den = rest
	}
	return num, den
}

// rampZ is a ramp's product with the temperature about its mean.
func (c *chart) rampZ(b *baseline, at *knot, sg float64) float64 {
	if !b.warm {
		return 0
	}
	return c.all.zt - at.zt - at.last*(c.all.z-at.z) - sg*b.mz
}

// cooled takes what a regressor shares with the temperature off it; den is 0 where that is nearly all of it.
func (b *baseline) cooled(num, den, gz float64) (float64, float64) {
	num -= gz * b.zy / b.zz
	rest := den - gz*gz/b.zz
	if rest < 1e-3*den {
		return 0, 0
	}
	return num, rest
}

// warms notes in a change by how much the temperature's say was taken off; gz is the product of what the change
// explains with the temperature about its mean.
func (c *chart) warms(b *baseline, x *change, gz float64) {
	x.perK, x.mz = c.perK, c.zero+b.mz
	x.level += c.perK * x.mz
	if b.warm {
		x.perK += (b.zy - gz) / b.zz
	}
}

// ramp regresses on an even movement since a knot's last check; sg is the ramp's weighted sum.
func (c *chart) ramp(b *baseline, at *knot) (num, den, sg float64) {
	end := &c.all
	from := at.last
	gw := end.w - at.w
	st := end.t - at.t
	sg = st - gw*from
	sgg := end.tt - at.tt - 2*from*st + gw*from*from
	den = sgg - sg*sg/b.w
	num = end.ty - at.ty - from*(end.y-at.y) - sg*b.my
	if den < 1e-9*sgg || !(sgg > 0) { // all at one instant, or too small beside what was summed
		return 0, 0, 0
	}
	gz := 0.0
	if b.warm {
		gz = c.rampZ(b, at, sg)
		if num, den = b.cooled(num, den, gz); den == 0 {
			return 0, 0, 0
		}
	}
	if b.curve >= 0 {
		gf := end.ft[b.curve] - at.ft[b.curve] - from*(end.f[b.curve]-at.f[b.curve]) - sg*b.mf - b.fz*gz
		num -= gf * b.fy / b.ff
		rest := den - gf*gf/b.ff
		if rest < 1e-3*den {
			return 0, 0, 0
		}
		den = rest
	}
	return num, den, sg
}
