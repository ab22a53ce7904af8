package drift

import "time"

// observation is one check of one axis.
type observation struct {
	at   time.Time
	t    float64 // days since the record began
	y, u float64 // mm/m; u is NaN when not known
	r    float64 // variance relative to sigma's
	used usage
	warm

	dim float32 // variance relative to sigma's that not knowing the temperature adds, as far as it was known when the check came
}

// usage is what is known of the spindle's use at a moment.
type usage struct {
	hours float64 // since the record began; NaN: not known
	aDay  float64 // of late; NaN: not known
}

// remembered is how many of the latest observations are kept at least: more than anything looks back at once there is
// much to look back on.
const remembered = 1024

// latest keeps the latest observations of a segment; they are counted from the segment's first.
type latest struct {
	o    []observation
	gone int // observations no longer kept
}

func (l *latest) n() int { return l.gone + len(l.o) }

func (l *latest) at(i int) *observation { return &l.o[i-l.gone] }

func (l *latest) last() *observation { return &l.o[len(l.o)-1] }

func (l *latest) add(o observation) {
	if len(l.o) == 2*remembered {
		l.gone += remembered
		l.o = append(l.o[:0], l.o[remembered:]...)
	}
	l.o = append(l.o, o)
}

// usedADay is what part of a usual day's use an hour is; 0 where too little is known of it, or where the spindle runs
// so evenly that hours tell no more than days.
func (l *latest) usedADay() float64 {
	const (
		known  = 0.75 // of the checks
		uneven = 0.15 // by how much the use between two checks is off the usual, as a part of it
	)
	first, last, n := -1, -1, 0
	for i := range l.o {
		if finite(l.o[i].used.hours) {
			n++
			if last = i; first < 0 {
				first = i
			}
		}
	}
	if n < 6 || float64(n) < known*float64(len(l.o)) {
		return 0
	}
	days, hours := l.o[last].t-l.o[first].t, l.o[last].used.hours-l.o[first].used.hours
	if !(days > 0 && hours > 0) {
		return 0
	}
	usual := hours / days
	var off, even float64
	before := first
	for i := first + 1; i <= last; i++ {
		if !finite(l.o[i].used.hours) {
			continue
		}
		dt := l.o[i].t - l.o[before].t
		off += sq(l.o[i].used.hours - l.o[before].used.hours - usual*dt)
		even += sq(usual * dt)
		before = i
	}
	if off < sq(uneven)*even {
		return 0
	}
	return 1 / usual
}
