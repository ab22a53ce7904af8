package mixed

import "math"

// What depends on the way the sweep goes round, in columns of the design. All are told from the lean by going both
// ways.
const (
	byOffset = iota // the reading is higher one way than the other
	byPlay          // the plunger follows only when pushed to the end of its play
	byMove          // the reading is higher coming out than going in
	byLag           // the angle is off by a fixed amount each way: lost motion of the encoder
	byDelay         // the angle and the reading are not of the same instant
	byCount
)

// How large the shifts of the angle are thought to be before the sweep speaks: standard deviations.
const (
	lagSD        = 0.5 * math.Pi / 180 // radians
	delaySD      = 0.1                 // seconds
	lostMotionSD = 3.0                 // display steps
)

// direction is what is known of the way-dependent effects, improved round by round.
type direction struct {
	playMM float64 // half the lost motion of the plunger
	moveMM float64
	lag    float64 // radians
	delayS float64
}

// curve is the noise-free reading under a block, and its derivative by angle.
type curve func(b *block) (z, rise float64)

// playPath is by how much a plunger with the given play stands behind the curve at each block, block by block in time.
func playPath(bs []block, zs, rises []float64, play float64) []float64 {
	out := make([]float64, len(bs))
	var at float64
	for i := range bs {
		if i == 0 || bs[i-1].track != bs[i].track {
			at = zs[i] - math.Copysign(play, bs[i].dir*rises[i])
		}
		at = math.Min(math.Max(at, zs[i]-play), zs[i]+play)
		out[i] = at - zs[i]
	}
	return out
}

// write puts the effects into the design. Play is not linear: its present value is taken off the readings and its
// column is the change for a little more of it. Lag and delay have moved the angles already: what that took off is put
// back by their columns, so that the columns, and the priors with them, stand for the whole and not for what this round
// adds.
func (w direction) write(d *design, bs []block, c curve) {
	d.moved = w
	zs, rises := make([]float64, len(bs)), make([]float64, len(bs))
	var steep float64
	for i := range bs {
		zs[i], rises[i] = c(&bs[i])
		steep += math.Abs(rises[i]) / float64(len(bs))
	}
	steep = math.Max(steep, 1e-3*d.step)
	step := math.Max(0.05*w.playMM, 0.1*d.step)
	low, high := math.Max(0, w.playMM-step), w.playMM+step
	now, less, more := playPath(bs, zs, rises, w.playMM), playPath(bs, zs, rises, low), playPath(bs, zs, rises, high)
	for i := range bs {
		b, x := &bs[i], d.rows[i]
		at := x[d.form+d.drift:]
		at[byOffset] = b.dir
		at[byPlay] = (more[i] - less[i]) / (high - low)
		at[byMove] = -b.dir * math.Tanh(8*rises[i]/steep)
		at[byLag] = b.dir * rises[i]
		at[byDelay] = b.rate * rises[i]
		x[d.cols-1] += w.moves(at) - now[i]
	}
}

// moves is what the angles' having been moved took off a reading, by the columns of its row.
func (w direction) moves(at []float64) float64 { return w.lag*at[byLag] + w.delayS*at[byDelay] }

// shift is by how much a block's angle is moved.
func (w direction) shift(b *block) float64 { return b.dir*w.lag + b.rate*w.delayS }

// learn takes the effects found in one round, of a display of the given step; shift says by how much each block's angle
// is to be moved.
func (w *direction) learn(coef []float64, step float64) (shift func(b *block) float64, ok bool) {
	if bad(coef[byLag]) || bad(coef[byDelay]) || math.Abs(coef[byLag]) > 0.5 || math.Abs(coef[byDelay]) > 2 {
		return nil, false
	}
	lag, delay := coef[byLag]-w.lag, coef[byDelay]-w.delayS
	w.lag, w.delayS = coef[byLag], coef[byDelay]
	w.moveMM = coef[byMove]
	w.playMM = math.Min(math.Max(0, w.playMM+coef[byPlay]), 2*w.playMM+0.5*step)
	return func(b *block) float64 { return b.dir*lag + b.rate*delay }, true
}

// late is by how much the angles are late at the typical rate, in radians, and its standard uncertainty.
func (f *fitting) late() (late, u, rate float64) {
	rate = meanRate(f.bs)
	c := make([]float64, f.d.cols-1)
	at := c[f.d.form+f.d.drift:]
	at[byLag], at[byDelay] = 1, rate
	return f.way.lag + f.way.delayS*rate, math.Sqrt(f.ans.best.variance(c)), rate
}

// playOdds is the log odds of no play against some, and of no effect of direction at all against one without play,
// before the readings speak.
const playOdds = 0.0

// playLevels are tried before the play is refined, in display steps: the likelihood has more than one hump.
var playLevels = []float64{0, 0.3, 0.6, 1, 1.5, 2.2, 3.3, 5, 7.5, 11}

// wayBackAhead is the share of the way back that lies ahead of a sweep that goes on and will go both ways: 1 until it
// turns, 0 once it has gone back over a turn, or over all that it went. The model takes lost motion for a small change
// of the readings; that finds an error of its own where the readings that would tell are still to come.
func (f *fitting) wayBackAhead() float64 {
	if !f.opt.BothWays || !f.opt.Unfinished {
		return 0
	}
	low, high := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for i := range f.bs {
		b, way := &f.bs[i], 0
		if b.dir < 0 {
			way = 1
		}
		low[way], high[way] = math.Min(low[way], b.th), math.Max(high[way], b.th)
	}
	there, back := math.Max(high[0]-low[0], 0), math.Max(high[1]-low[1], 0)
	if there == 0 && back == 0 {
		return 1
	}
	return 1 - math.Min(1, math.Min(there, back)/math.Min(2*math.Pi, math.Max(there, back)))
}
