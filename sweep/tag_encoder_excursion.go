package sweep

import "math"

// A counter that was reset, or lost counts, by less than an arm could have moved in the time shows in one thing: the
// arm has inertia, so it cannot go much faster or slower for one sample than in those before and after it. A step is
// judged three samples later, against two steps on either side, and together with its neighbours against two further
// out: what a late stamp or a count that was taken late adds to one step is missing from the next.

// stride is the arm's way from one sample to the next whose moment is known, over those between that came in one read.
type stride struct {
	step    float64 // radians
	n       float64 // samples
	gap     float64 // seconds, by the stamps
	longest float64 // seconds that it may have taken, given what is known of late stamps
	from    float64 // time of the sample before
	restart bool    // it ends where a counter begins that was just switched on
}

const (
	strides   = 7
	middle    = strides / 2
	grain     = 3.1     // steps of the encoder by which rounding alone may put one stride beside its neighbours
	stirForS  = 4.0     // seconds for which unevenness is remembered
	bump      = 20.0    // rad/s² that even a steady arm may suffer within one sample (common practice, no source)
	push      = maxSpin // and one that rested before and after
	acquaintS = 1.0     // seconds of movement after which a hand is known
	stirTimes = 1.5
	oddTimes  = 3.0
	sureTimes = 0.4 // of all that, where the count started over
)

// excursions judges strides. What it allows grows with the unevenness that it has seen.
type excursions struct {
	ring [strides]stride
	n    int
	open stride  // goes on to the next sample
	stir float64 // largest change from one stride to the next, lately
	odd  float64 // largest excursion that was taken for one of the arm, lately
	seen float64 // seconds in which the arm moved
}

// forget begins again, but for what is known of the hand.
func (x *excursions) forget() { x.n, x.open = 0, stride{} }

// add takes the way to the next sample, whose stamp may be early by slack, and judges the stride in the middle of those
// that are known. It gives when the count was last good and by how much it then went astray.
func (x *excursions) add(s stride, slack, rhythm, quantum float64) (from, by float64, jumped bool) {
	if o := &x.open; o.n == 0 {
		*o = s
	} else {
		o.step, o.n, o.gap, o.restart = o.step+s.step, o.n+s.n, o.gap+s.gap, o.restart || s.restart
		o.longest = math.Max(o.longest, o.gap)
	}
	if slack > 0 {
		return 0, 0, false
	}
	copy(x.ring[:], x.ring[1:])
	x.ring[strides-1], x.open = x.open, stride{}
	if x.n++; x.n < strides {
		return 0, 0, false
	}
	c := &x.ring[middle]
	near := outside(x.ring[middle:middle+1], x.ring[middle-2:middle], x.ring[middle+1:middle+3], rhythm)
	far := outside(x.ring[middle-1:middle+2], x.ring[:middle-1], x.ring[middle+2:], rhythm)
	by = near
	if math.Abs(far) < math.Abs(near) {
		by = far
	}
	if near*far <= 0 {
		by = 0
	}
	unit := math.Max(c.gap, c.n*rhythm)
	rough := bump
	if x.rested(quantum) {
		rough = push
	}
	limit := 0.75*rough*unit*unit + stirTimes*x.stir + oddTimes*x.odd
	if c.restart {
		limit *= sureTimes
	}
	if x.seen < acquaintS {
		limit *= 2
	}
	if math.Abs(by) > grain*quantum+limit {
		x.forget()
		return c.from, by, true
	}
	if c.step != 0 {
		x.seen += c.gap
	}
	fade := math.Exp(-c.gap / stirForS)
	before := &x.ring[middle-1]
	change := math.Abs(c.step - before.step*c.n/before.n)
	if g := c.gap * before.gap; g > 0 {
		change = math.Min(change, math.Abs(c.step/c.gap-before.step/before.gap)*unit)
	}
	x.stir = math.Max(change-quantum, x.stir*fade)
	x.odd = math.Max(math.Abs(by)-2*quantum, x.odd*fade)
	return 0, 0, false
}

// rested reports whether the arm hardly moved before and after the middle.
func (x *excursions) rested(quantum float64) bool {
	for i, s := range x.ring {
		if i != middle && math.Abs(s.step) > 2*quantum {
			return false
		}
	}
	return true
}

// outside is by how much some strides together leave what those before and after them lead to expect: as far for each,
// or as fast, and then for as long as the stamps allow.
func outside(some, before, after []stride, rhythm float64) float64 {
	var step, n, gap, longest float64
	for _, s := range some {
		step, n, gap, longest = step+s.step, n+s.n, gap+s.gap, longest+s.longest
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, side := range [2][]stride{before, after} {
		for _, s := range side {
			low, high = math.Min(low, n*s.step/s.n), math.Max(high, n*s.step/s.n)
		}
	}
	even := beyond(step, low, high)
	if even == 0 {
		return 0
	}
	low, high = math.Inf(1), math.Inf(-1)
	short, long := math.Min(gap, n*rhythm), math.Max(longest, n*rhythm)
	for _, side := range [2][]stride{before, after} {
		var way, took, samples float64
		for _, s := range side {
			way, took, samples = way+s.step, took+s.gap, samples+s.n
		}
		v := way / math.Max(took, samples*rhythm)
		low, high = math.Min(low, math.Min(v*short, v*long)), math.Max(high, math.Max(v*short, v*long))
	}
	timed := beyond(step, low, high)
	switch {
	case even*timed <= 0:
		return 0
	case math.Abs(timed) < math.Abs(even):
		return timed
	}
	return even
}

// beyond is how far x lies outside of two limits, with its sign.
func beyond(x, low, high float64) float64 {
	switch {
	case x > high:
		return x - high
	case x < low:
		return x - low
	}
	return 0
}
