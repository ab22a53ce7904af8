package drift

// process is one setting of the sizes of the model's parts. Leans are in units of sigma, times in days.
type process struct {
	wander float64 // level disturbance: standard deviation after one day
	steep  float64 // standard deviation of the slope's prior, a day
	turn   float64 // slope disturbance: standard deviation of the slope after one day
	quick  float64 // curvature: by what part of itself, as it was at the first check, the slope grows a day
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

// size is one value of a part's scale with its weight before anything was seen.
type size struct{ of, prior float64 }

// bend is one way in which a slope changes, with its weight before anything was seen.
type bend struct{ turn, quick, prior float64 }

// The sizes of the parts stand in steps of two to three, from what a few hundred checks could just show to what outdoes
// the scatter between two checks. Their weights are our own choice: study.md shows what they do to each kind of
// machine.
var (
	// wanders are the standard deviations of the level disturbance in a usual gap, in units of sigma.
	wanders = []size{{0.004, 0.16}, {0.03, 0.1}, {0.06, 0.15}, {0.12, 0.26}, {0.25, 0.22}, {0.5, 0.08}, {1, 0.02},
		{2.2, 0.01}}
	// slopes are the standard deviations of the slope's prior, likewise.
	slopes = []size{{0, 0.7}, {0.03, 0.02}, {0.1, 0.14}, {0.3, 0.1}, {1, 0.04}}
	// bends are how a slope changes: not at all; by a disturbance, in units of the slope's own standard deviation in a
	// usual gap; or by a curvature, by what part of itself as it was at the first check it grows in a usual gap. Wear
	// that quickens is of the last three kinds, and two in three of what has a slope quicken: few checks cannot tell it
	// from a straight trend, and that of the two which is outside first must decide the date (decisions.md).
	bends = []bend{{0, 0, 0.24}, {0.18, 0, 0.06}, {0, 0.2, 0.28}, {0, 0.1, 0.28}, {0, 0.05, 0.14}}

	// swungWanders and swungSlopes are the sizes beside a swing: fewer, since the swing hides the small ones.
	swungWanders = []size{{0.004, 0.4}, {0.06, 0.3}, {0.25, 0.3}}
	swungSlopes  = []size{{0, 0.7}, {0.1, 0.3}}
	// reaches are the standard deviations of a swing that a spring holds back, in units of sigma.
	reaches = []size{{0.7, 0.5}, {2, 0.5}}
)

// settleReach is the standard deviation of a swing that settles, in units of sigma; the others are weights of swings.
const (
	settleReach = 6
	settling    = 0.08
	sprung      = 0.04
)

// changeSize is the standard deviation of a step, and of what a ramp has come to by the last check, before it was seen,
// in units of sigma: of the chart's candidates, and at least of the intervention that the bank gets.
const changeSize = 1.0

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
	add := func(p process, wander, slope size, bent bend) {
		if slope.of == 0 && bent.turn+bent.quick > 0 {
			return // nothing to bend
		}
		p.wander, p.slow = wander.of/root, wander.of < slowest
		p.steep, p.turn, p.quick = slope.of/gap, bent.turn*slope.of/(gap*root), bent.quick/gap
		p.prior *= wander.prior * slope.prior
		if slope.of > 0 {
			p.prior *= bent.prior
		}
		out = append(out, p)
	}
	straight := bend{prior: 1}
	for _, q := range wanders {
		for _, b := range slopes {
			for _, w := range bends {
				add(process{tau: -1, prior: 1 - settling - sprung}, q, b, w)
			}
		}
	}
	const quick = 3 // of the time constants: what settles more slowly looks like a trend for too long
	for _, q := range swungWanders {
		for _, b := range swungSlopes {
			for tau := range tausInGaps[:quick] {
				add(process{tau: tau, reach: settleReach, prior: settling / quick}, q, b, straight)
			}
			for tau := 1; tau < len(tausInGaps) && q.of < slowest; tau++ {
				for _, v := range reaches {
					add(process{tau: tau, reach: v.of, alive: true,
						prior: sprung * v.prior / float64(len(tausInGaps)-1)}, q, b, straight)
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
		if p := out[i]; p.moves() {
			p.prior /= 2
			out[i].prior = p.prior
			p.used = true
			out = append(out, p)
		}
	}
	return out
}
