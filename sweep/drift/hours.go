package drift

import "math"

// hours knows how much the spindle runs, from a counter that is read now and then.
type hours struct {
	at, count []float64 // since the counter last began
	back      int       // how often it went back
	total     float64   // up to the last reading of the counter, from the first on
	said      float64   // what was last given for a moment
}

// usageDays is how far back the present use is taken from, and for how long it is taken to go on without a reading of
// the counter.
const usageDays = 60

func (h *hours) add(t, count float64) {
	if !finite(count) {
		return
	}
	if n := len(h.count); n > 0 && count < h.count[n-1] { // changed or set back: what it said before counts no more
		h.at, h.count = h.at[:0], h.count[:0]
		h.back++
	} else if n > 0 {
		h.total += count - h.count[n-1]
	}
	h.at, h.count = append(h.at, t), append(h.count, count)
	for len(h.at) > 2 && h.at[len(h.at)-1]-h.at[1] > usageDays {
		h.at, h.count = h.at[1:], h.count[1:]
	}
}

// perDay is the spindle's use; NaN when not known.
func (h *hours) perDay() float64 {
	n := len(h.at) - 1
	if n < 1 || h.at[n]-h.at[0] < 1.0/1440 {
		return math.NaN()
	}
	return (h.count[n] - h.count[0]) / (h.at[n] - h.at[0])
}

// now is the use up to a moment not before the last reading. Between readings the spindle is taken to run as it did of
// late, and what it was taken to have run too much comes off what follows.
func (h *hours) now(t float64) usage {
	out := usage{math.NaN(), h.perDay()}
	n := len(h.at)
	if n == 0 || t-h.at[n-1] > usageDays {
		return out
	}
	sum := h.total
	if finite(out.aDay) {
		sum += out.aDay * (t - h.at[n-1])
	}
	h.said = math.Max(h.said, sum)
	out.hours = h.said
	return out
}
