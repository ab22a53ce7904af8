package drift

import (
	"math"
	"math/rand/v2"
	"testing"
)

// optimum is the chart of one axis by a rule that knows what no chart of a machine can know: the scatter, and the size
// of the step to come. The sum of the likelihood ratios of a step after each check so far is as quick as a rule can be
// for its price in false alarms but for a small part of a check (A. N. Shiryaev, Theory of Probability and Its
// Applications 8 (1963) 22-46; M. Pollak, Annals of Statistics 13 (1985) 206-227; both from memory). The level before
// the step it has to learn like the chart, unless that is known to it, too.
type optimum struct {
	size  float64
	level bool      // the level before the step is known to be 0
	sums  []float64 // of the first so many readings
}

// add returns the log of the sum after one more reading, in units of the scatter.
func (o *optimum) add(y float64) float64 {
	const longest = 250 // checks back: a step of this size would have shown by then
	if o.sums == nil {
		o.sums = []float64{0}
	}
	n := len(o.sums)
	o.sums = append(o.sums, o.sums[n-1]+y)
	sum, from := 0.0, max(1, n-longest)
	if o.level {
		from--
	}
	for k := from; k < n; k++ {
		after := float64(n - k)
		moved, information := (o.sums[n]-o.sums[k])/after, after
		if !o.level {
			before := float64(k)
			moved -= o.sums[k] / before
			information = after * before / (after + before)
		}
		if gain := o.size*information*math.Abs(moved) - sq(o.size)*information/2; gain > -3 {
			sum += math.Exp(gain) / 2
		}
	}
	return math.Log(sum)
}

// quickest returns the mean number of checks until a step of one and of two scatters after quiet checks is found by the
// optimum for a step of such a size on one of two axes, at a price of one false alarm in so many checks.
func quickest(size float64, level bool, quiet int, price float64, machines int, seed uint64) (one, two float64) {
	const watched, most = 500, 300
	// first is when either axis first comes to each of the bars.
	bars := make([]float64, 36)
	for i := range bars {
		bars[i] = 4.5 + 0.1*float64(i)
	}
	first := func(stream uint64, from, n int, step float64) [][]int {
		out := make([][]int, machines)
		for m := range out {
			r := rand.New(rand.NewPCG(seed, stream<<32+uint64(m)))
			axes := [2]optimum{{size: size, level: level}, {size: size, level: level}}
			passed := 0
			out[m] = make([]int, len(bars))
			for k := 1; k <= n && passed < len(bars); k++ {
				y := r.NormFloat64()
				if k > from {
					y += step
				}
				top := max(axes[0].add(y), axes[1].add(r.NormFloat64()))
				for ; passed < len(bars) && top > bars[passed]; passed++ {
					out[m][passed] = k
				}
			}
			for ; passed < len(bars); passed++ {
				out[m][passed] = n + 1
			}
		}
		return out
	}
	// The bar of that price, between two.
	costs := func(all [][]int, bar int) float64 {
		var checks, alarms float64
		for _, f := range all {
			if checks += float64(min(f[bar], watched)); f[bar] <= watched {
				alarms++
			}
		}
		return math.Log(checks / math.Max(alarms, 0.5))
	}
	healthy, bar := first(1, watched, watched, 0), 0
	for bar < len(bars)-2 && costs(healthy, bar+1) < math.Log(price) {
		bar++
	}
	low, high := costs(healthy, bar), costs(healthy, bar+1)
	part := (math.Log(price) - low) / (high - low)
	delay := func(stream uint64, step float64) float64 {
		var mean [2]float64
		all := first(stream, quiet, quiet+most, step)
		for i := range mean {
			n := 0.0
			for _, f := range all {
				if f[bar+i] > quiet {
					mean[i] += float64(min(f[bar+i]-quiet, most))
					n++
				}
			}
			mean[i] /= n
		}
		return (1-part)*mean[0] + part*mean[1]
	}
	return delay(2, 1), delay(3, 2)
}

// studyOptimum is what theory permits of the study's table of steps.
func studyOptimum(p func(format string, args ...any)) {
	const machines = 2000
	p(
		"\n### What theory permits\n\nThe quickest rule for a step of one scatter that knows the scatter and the size, at the price of one false alarm in 380 checks of both axes\n"+
			"(`optimum_test.go`, %d machines): checks until it finds one of one and of two scatters. The chart knows neither.\n\n"+
			"| quiet checks before | step 1, level to be learned | step 2 | step 1, level known | step 2 |\n|---|---|---|---|---|\n", machines)
	for _, quiet := range []int{25, 50, 100, 200} {
		one, two := quickest(1, false, quiet, 380, machines, 1)
		known1, known2 := quickest(1, true, quiet, 380, machines, 1)
		p("| %d | %.1f | %.2f | %.1f | %.2f |\n", quiet, one, two, known1, known2)
	}
}

// With the level known the optimum for one scatter is a little quicker than a cumulative sum of the same price: one of
// two sides, watched on two axes at 380, has 4 times 380 checks between alarms of a side, for which D. Siegmund's
// approximation (Sequential Analysis, 1985, formula from memory), ARL = (exp(b) - 1 - b) * 2 with a reference value of
// half a scatter, gives b = 6.64, and (exp(-b) - 1 + b) * 2 = 11.3 checks to find a step of one from a standing start.
func TestTheOptimumIsQuickerThanACumulativeSum(t *testing.T) {
	t.Parallel()
	one, two := quickest(1, true, 100, 380, 250, 3)
	t.Logf("a step of one scatter is found after %.2f checks, of two after %.2f", one, two)
	// A mean of 250 delays with a standard deviation of 5 is known to 0.3.
	if one < 9 || one > 11.3 || two > 4.5 {
		t.Errorf("a step of one scatter is found after %.2f checks, want 9 to 11.3; of two after %.2f", one, two)
	}
}
