package drift

// process is one setting of the sizes of the model's parts. Leans are in units of sigma, times in days.
type process struct {
	wander float64 // level disturbance: standard deviation after one day
	steep  float64 // standard deviation of the slope's prior, a day
	turn   float64 // slope disturbance: standard deviation of the slope after one day
	reach  float64 // standard deviation of the swing's prior
	tau    int     // which of the bank's time constants the swing has; -1: no swing
	alive  bool    // the swing is kept alive by noise
	used   bool    // follows the spindle's hours; its time is hours / the usual hours a day
	warm   bool    // leans with the temperature besides
	slow   bool    // the level disturbance is too small to be seen for long
	prior  float64 // weight before anything was seen
}

// Kind names how an axis moves.
type Kind int

// Kinds of movement.
const (
	Steady Kind = iota
	Wandering
	Trending
	Settling
	kinds
)

// String names the kind.
func (k Kind) String() string { return [...]string{"steady", "wandering", "trending", "settling"}[k] }

// tausInGaps are the time constants of a swing, in typical gaps between checks.
var tausInGaps = [...]float64{1.5, 5, 15, 45}

// size is one value of a part's scale with its prior.
type size struct{ of, prior float64 }

// The sizes of the parts, in units of sigma and of the usual gap between checks. They stand in steps of two to three
// from what a few hundred checks could just show to what outdoes the scatter between two checks, and are about
// equally likely before anything was seen: a scale has no favourite value. study.md shows what the priors do.
func sizes() (wanders, slopes, turns []size) {
	wanders = []size{{0.004, tune[0]}, {0.03, tune[1]}, {0.06, tune[2]}, {0.12, tune[3]}, {0.25, tune[4]}, {0.5, tune[5]}, {1, tune[6]}, {2.2, tune[7]}}
	slopes = []size{{0, tune[8]}, {0.03, tune[9]}, {0.1, tune[10]}, {0.3, tune[11]}, {1, tune[12]}}
	turns = []size{{0, 1 - tune[13]}, {0.18, tune[13]}}
	return
}

var tune = []float64{.2, .16, .16, .16, .12, .08, .06, .04, .35, .2, .2, .2, .05, .3, .15, .08}

// slowest is the wander in a usual gap, in units of sigma, below which an axis as good as holds still.
const slowest = 0.07

// processes is the bank's list: the product of the sizes, without a swing, with one that settles, and with one that a
// spring holds back.
//
// Where the spindle's hours are known, whatever moves for good may as well go by them: the same again, half as likely
// each. Where temperatures are known, everything may lean with them besides.
func processes(gap float64, hours, warm bool) []process {
	root := sqrt(gap)
	var out []process
	add := func(wander, slope, turn size, swing float64, tau int, alive bool, prior float64) {
		if slope.of == 0 && turn.of > 0 {
			return
		}
		if slope.of == 0 {
			turn.prior = 1
		}
		out = append(out, process{
			wander: wander.of / root, steep: slope.of / gap, turn: turn.of * slope.of / gap / root,
			reach: swing, tau: tau, alive: alive, slow: wander.of < slowest, prior: prior * wander.prior * slope.prior * turn.prior,
		})
	}
	const once = 1
	settles, springs := tune[14], tune[15]
	wanders, slopes, turns := sizes()
	for _, q := range wanders {
		for _, b := range slopes {
			for _, w := range turns {
				add(q, b, w, 0, -1, false, 1-settles-springs)
			}
		}
	}
	for _, q := range []size{{0.004, 0.4}, {0.06, 0.3}, {0.25, 0.3}} {
		for _, b := range []size{{0, 0.7}, {0.1, 0.3}} {
			for tau := range tausInGaps[:3] { // the slowest look like a trend for too long
				add(q, b, size{0, once}, 6, tau, false, settles/3)
			}
			if q.of > 0.1 {
				continue
			}
			for tau := 1; tau < len(tausInGaps); tau++ {
				for _, v := range []float64{0.7, 2} {
					add(q, b, size{0, once}, v, tau, true, springs/6)
				}
			}
		}
	}
	sum := 0.0
	for i := range out {
		sum += out[i].prior
	}
	for i := range out {
		out[i].prior /= sum
	}
	if hours {
		out = byHours(out)
	}
	if warm {
		for _, p := range out {
			p.prior *= warmChance
			p.warm = true
			out = append(out, p)
		}
		for i := range out[:len(out)/2] {
			out[i].prior *= 1 - warmChance
		}
	}
	return out
}

// byHours adds to the list what moves by the spindle's hours.
func byHours(out []process) []process {
	for i := range out {
		if p := out[i]; (!p.slow || p.steep > 0) && p.tau < 0 {
			p.prior /= 2
			out[i].prior = p.prior
			p.used = true
			out = append(out, p)
		}
	}
	return out
}
