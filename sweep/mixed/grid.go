package mixed

import "math"

// The variance parameters are not estimated and then believed; the answer is averaged over a grid of them, each point
// weighted by its restricted likelihood (Patterson and Thompson 1971) and a weak prior. So an interval from few readings
// is wide because they cannot tell form from noise, and not because of a rule.

// hyper is a point of the grid, as level numbers.
type hyper struct{ tau, slow, form, fall, drift int8 }

const hyperAxes = 5

func (h *hyper) axis(i int) *int8 {
	return [hyperAxes]*int8{&h.tau, &h.slow, &h.form, &h.fall, &h.drift}[i]
}

// levels holds the values along each axis. Variances are relative to the white noise of a typical block.
type levels struct {
	tau   []float64 // seconds
	slow  []float64 // variance
	form  []float64 // standard deviation of harmonic 2
	fall  []float64 // harmonic k falls as k^-fall
	drift []float64 // standard deviation of the first drift polynomial
}

func (l *levels) count(i int) int {
	return [hyperAxes]int{len(l.tau), len(l.slow), len(l.form), len(l.fall), len(l.drift)}[i]
}

func newLevels(bs []block) *levels {
	var steps []float64
	for i := 1; i < len(bs); i++ {
		if dt := math.Abs(bs[i].t - bs[i-1].t); bs[i].track == bs[i-1].track && dt > 0 {
			steps = append(steps, dt)
		}
	}
	_, half := timeSpan(bs)
	step := median(steps)
	if math.IsNaN(step) {
		step = half
	}
	l := &levels{
		slow:  []float64{0, 0.006, 0.025, 0.1, 0.4, 1.6, 6.4, 25, 100, 400, 1600, 6400, 25600},
		form:  []float64{0.1, 0.3, 1, 3, 10, 30, 100, 300, 1000},
		fall:  []float64{0.8, 1.6, 2.6},
		drift: []float64{0.03, 0.1, 0.3, 1, 3, 10, 30, 100, 300, 1000},
	}
	if len(bs) < denseSegments { // too few to show more than this
		l.slow, l.drift = l.slow[:7], l.drift[:6]
	}
	for tau := step; len(l.tau) < 8; tau *= 3 {
		l.tau = append(l.tau, tau)
		if tau > 2*half {
			break
		}
	}
	return l
}

const slower = 0.7

// prior is the log weight of a point before the readings speak. The middles are what is common on machine tables swept by a
// dial of 0.001 mm (common practice, no source); the widths leave a factor of ten either way hardly penalised.
func (l *levels) prior(h hyper) float64 {
	gauss := func(x, middle, width float64) float64 {
		e := math.Log(math.Max(x, middle/30)/middle) / width
		return -e * e / 2
	}
	// Without slow noise there is one point and not one for every tau; with it, slower is likelier, as machines go.
	slow := math.Log(float64(len(l.tau)))
	if h.slow > 0 {
		slow = slower*math.Log(l.tau[h.tau]/l.tau[len(l.tau)/2]) + gauss(l.slow[h.slow], 0.3, 4)
	}
	return gauss(l.form[h.form], 0.6, 1.2) + slow + gauss(l.drift[h.drift], 0.1, 2)
}
