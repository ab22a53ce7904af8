package sim

import (
	"math"
	"math/rand/v2"
	"sort"
	"time"
)

// turning is a hand that takes the arm round: a row of strokes, one for each new grip, some with a rest before them.
// The angle is a closed formula of the time, so that nothing adds up and the end is met exactly.
type turning struct {
	begin    time.Duration // on the machine's clock
	length   time.Duration
	fromDeg  float64
	toDeg    float64
	strokes  []stroke
	duration float64 // seconds, of all strokes and rests
}

// stroke moves the arm by byDeg in seconds, starting at second at and at angle fromDeg.
type stroke struct {
	at, seconds    float64
	fromDeg, byDeg float64
}

const (
	shortestStrokeDeg = 50
	longestStrokeDeg  = 140
	restChance        = 0.35 // before a stroke
)

// newTurning plans a turn that lasts |turns|/rpm minutes to the nanosecond, unevenly.
func newTurning(rng *rand.Rand, begin time.Duration, fromDeg, turns, rpm float64) turning {
	totalDeg := turns * 360
	seconds := math.Abs(turns) / rpm * 60
	h := turning{begin: begin, length: time.Duration(seconds * 1e9), fromDeg: fromDeg, toDeg: fromDeg + totalDeg,
		duration: seconds}

	var raw float64 // length of the plan before it is stretched to fit
	for done, left := 0.0, math.Abs(totalDeg); left > 0; {
		by := shortestStrokeDeg + rng.Float64()*(longestStrokeDeg-shortestStrokeDeg)
		if left-by < shortestStrokeDeg {
			by = left
		}
		if len(h.strokes) > 0 && rng.Float64() < restChance {
			raw += 0.1 + 0.3*rng.Float64()
		}
		took := by / 90 * (0.75 + 0.6*rng.Float64())
		h.strokes = append(h.strokes, stroke{at: raw, seconds: took, fromDeg: fromDeg + math.Copysign(done, totalDeg),
			byDeg: math.Copysign(by, totalDeg)})
		raw += took
		done += by
		left -= by
	}
	for i := range h.strokes {
		h.strokes[i].at *= seconds / raw
		h.strokes[i].seconds *= seconds / raw
	}
	return h
}

// angle returns where the arm points at a moment of the machine's clock.
func (h *turning) angle(now time.Duration) float64 {
	t := (now - h.begin).Seconds()
	if now-h.begin >= h.length || len(h.strokes) == 0 {
		return h.toDeg
	}
	if t <= 0 {
		return h.fromDeg
	}
	i := sort.Search(len(h.strokes), func(i int) bool { return h.strokes[i].at > t }) - 1
	s := h.strokes[max(i, 0)]
	u := math.Min((t-s.at)/s.seconds, 1)
	// The integral of 1-cos: the speed rises from rest and falls to rest without a jerk.
	return s.fromDeg + s.byDeg*(u-math.Sin(2*math.Pi*u)/(2*math.Pi))
}
