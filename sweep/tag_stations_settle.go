package sweep

import (
	"math"
	"slices"
)

// window holds the readings of the last SettleS of one indicator.
type window struct {
	t, mm []float64
	last  float64 // middle when the last station was taken
	full  bool    // covers SettleS
	begun float64 // time of the first reading since the last clear

	away   int     // readings in a row off the place of the last station
	leftAt float64 // time of the first of them
}

// noise pools the standard deviations of still readings.
type noise struct{ sum, n float64 }

func (q *noise) join(sd float64) { q.sum, q.n = q.sum+sd*sd, q.n+1 }

func (q noise) sd() float64 { return math.Sqrt(q.sum / q.n) }

// settled reports whether every indicator lies still.
func (s *Stations) settled() bool {
	for i := range s.windows {
		w := &s.windows[i]
		if !w.full || w.span() > s.band(w) || w.creep() > s.creepLimit(w) {
			return false
		}
	}
	return true
}

// shortestTurn is the time below which a disturbance cannot have been the arm going to another station.
const shortestTurn = 0.7

// twitched reports whether the reading only stirred and came back: somebody leant on the table, and the arm is where it
// was.
func (s *Stations) twitched() bool {
	if s.movedAt == 0 { // never seen to move: the first station
		return false
	}
	for i := range s.windows {
		w := &s.windows[i]
		if w.t[0]-s.movedAt >= shortestTurn || math.Abs(w.middle()-w.last) > s.band(w) {
			return false
		}
	}
	return true
}

// widestBand is the widest span that counts as still: more is a plunger that is being stirred, not noise.
const widestBand = 0.03 // mm

// band is the span within which readings count as still: six times the noise, as it was seen at the stations before, or
// in this window, but not so far that a plunger which is being stirred could pass for stillness.
func (s *Stations) band(w *window) float64 {
	if s.o.SettleMM > 0 {
		return s.o.SettleMM
	}
	floor := math.Max(3*s.o.Resolution, 0.002)
	return math.Max(floor, math.Min(widestBand, 6*s.noise(w)))
}

func (s *Stations) noise(w *window) float64 {
	if s.quiet.n == 0 {
		return w.noise()
	}
	known := math.Max(s.quiet.sd(), s.o.Resolution/3)
	return math.Max(known, math.Min(w.noise(), 2*known))
}

// creepLimit is how far the mean of half a window may lie from that of the other by noise alone.
func (s *Stations) creepLimit(w *window) float64 {
	if s.o.SettleMM > 0 {
		return s.o.SettleMM
	}
	return math.Max(math.Max(s.o.Resolution, 0.001), 3*s.noise(w)*2/math.Sqrt(float64(len(w.mm))))
}

// Unsettled says how far the readings of the present station go to and fro, and for how long they have, in seconds; 0
// when they lie still or the arm has not moved.
func (s *Stations) Unsettled() (spanMM, forS float64) {
	if s.Done() || !s.moved {
		return 0, 0
	}
	for i := range s.windows {
		w := &s.windows[i]
		if !w.full {
			return 0, 0
		}
		spanMM = math.Max(spanMM, w.span())
		forS = w.t[len(w.t)-1] - w.begun
	}
	return spanMM, forS
}

func (s *Stations) clear() {
	for i := range s.windows {
		s.windows[i].clear()
	}
}

func (w *window) clear() { w.t, w.mm, w.full, w.away = w.t[:0], w.mm[:0], false, 0 }

// leaves reports whether the reading has left the place of the last station: two readings in a row must say so, since
// one line alone may be a damaged one.
func (w *window) leaves(t float64, away bool) bool {
	if !away {
		w.away = 0
		return false
	}
	if w.away++; w.away == 1 {
		w.leftAt = t
	}
	return w.away >= 2
}

func (w *window) add(t, mm, span float64) {
	if n := len(w.t); n > 0 && t < w.t[n-1] { // a clock that goes backwards starts the wait again
		w.clear()
	}
	if len(w.t) == 0 {
		w.begun = t
	}
	w.t, w.mm = append(w.t, t), append(w.mm, mm)
	drop := 0
	for drop < len(w.t)-1 && t-w.t[drop+1] >= span {
		drop++
	}
	if drop > 0 {
		w.t = w.t[:copy(w.t, w.t[drop:])]
		w.mm = w.mm[:copy(w.mm, w.mm[drop:])]
	}
	w.full = t-w.t[0] >= span && len(w.t) >= 3
}

// since lets go of all but the last seconds.
func (w *window) since(seconds float64) {
	n := len(w.t)
	for drop := range n {
		if w.t[n-1]-w.t[drop] <= seconds {
			w.t, w.mm = w.t[:copy(w.t, w.t[drop:])], w.mm[:copy(w.mm, w.mm[drop:])]
			return
		}
	}
}

func (w *window) span() float64 {
	if len(w.mm) == 0 {
		return 0
	}
	return slices.Max(w.mm) - slices.Min(w.mm)
}

// middle is the mean of the middle half of the readings; of three it is the median. Like a median it is not moved by a
// wrong reading among good ones, and unlike one it still averages the steps of a coarse display.
func (w *window) middle() float64 {
	sorted := slices.Sorted(slices.Values(w.mm))
	cut := (len(sorted) + 1) / 4
	return mean(sorted[cut : len(sorted)-cut])
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v - x[0]
	}
	return x[0] + sum/float64(len(x))
}

// creep is how far the second half of the window lies from the first.
func (w *window) creep() float64 {
	h := len(w.mm) / 2
	if h == 0 {
		return 0
	}
	return math.Abs(mean(w.mm[:h]) - mean(w.mm[len(w.mm)-h:]))
}

// noise estimates the standard deviation from second differences, which a steady movement leaves alone.
func (w *window) noise() float64 {
	n := len(w.mm)
	if n < 5 {
		return 0
	}
	sum := 0.0
	for i := 2; i < n; i++ {
		sum += math.Abs(w.mm[i] - 2*w.mm[i-1] + w.mm[i-2])
	}
	// For independent normal noise a second difference has six times the variance of a reading, and the mean absolute
	// value of a normal variable is sqrt(2/pi) standard deviations.
	return sum / float64(n-2) * math.Sqrt(math.Pi/12)
}
