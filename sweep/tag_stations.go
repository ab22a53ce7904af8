package sweep

import (
	"fmt"
	"math"
	"slices"
)

// StationOptions describe a sweep by stations: the arm is turned to announced angles and a settled reading is taken at
// each.
type StationOptions struct {
	AnglesDeg  []float64 // in the order they are visited
	Closing    bool      // return to the first angle at the end, so that the closure is seen
	SettleS    float64   // how long the reading must lie still; 0 = 1 s
	SettleMM   float64   // widest span of readings that counts as still; 0 = adapts to the noise that is seen
	Resolution float64   // of the indicators, mm; the span is never narrower than three steps
	Indicators int       // how many indicators there are; every one must lie still
	Typed      bool      // readings come by Put alone
	Told       bool      // somebody else moves the arm, and says by Arrive that it stands
}

// Stations tags readings by announced stations. It sees by itself when the arm has been moved and the reading has
// settled: the reading must first leave the place it was taken at (an arm that is turned stirs the plunger), then lie
// within a narrow span for SettleS, without creeping. Where a true spindle and a smooth surface give nothing to see,
// TakeNow takes the station. A station may be skipped, and one that went wrong taken again.
//
// Stations is for one goroutine.
type Stations struct {
	o       StationOptions
	places  []place
	here    int   // the place whose reading comes next; len(places): none is left
	order   []int // places in the order they were taken
	moved   bool
	movedAt float64  // when the reading left the place of the last station
	windows []window // per indicator
	quiet   noise    // what the readings did at the stations taken so far
}

// StationState is how far one station has come.
type StationState uint8

// States of a station.
const (
	StationAhead StationState = iota
	StationTaken
	StationSkipped
)

type place struct {
	deg     float64
	state   StationState
	reading StationReading
}

// StationReading is a station that has been taken.
type StationReading struct {
	Place   int // which station it is
	Deg     float64
	Points  []Point // one per indicator: the middle of the settled readings
	Spread  float64 // mm, widest span among the indicators
	ByHand  bool    // taken on the person's word
	Reading float64 // mm, of the first indicator
}

// NewStations begins a sweep by stations.
func NewStations(o StationOptions) *Stations {
	if o.SettleS <= 0 {
		o.SettleS = 1
	}
	if o.Indicators <= 0 {
		o.Indicators = 1
	}
	s := &Stations{o: o, windows: make([]window, o.Indicators), moved: !o.Told}
	degs := slices.Clone(o.AnglesDeg)
	if o.Closing && len(degs) > 1 {
		degs = append(degs, degs[0])
	}
	for _, d := range degs {
		s.places = append(s.places, place{deg: d})
	}
	return s
}

// Len says how many stations there are, the closing one included.
func (s *Stations) Len() int { return len(s.places) }

// Station returns one station's angle in degrees, how far it has come, and its reading if it was taken.
func (s *Stations) Station(i int) (deg float64, st StationState, r StationReading) {
	p := s.places[i]
	return p.deg, p.state, p.reading
}

// Taken says how many stations have been taken.
func (s *Stations) Taken() int { return len(s.order) }

// Done reports whether every station has been taken or skipped.
func (s *Stations) Done() bool { return s.here >= len(s.places) }

// Here returns the station to turn to.
func (s *Stations) Here() (i int, deg float64, ok bool) {
	if s.Done() {
		return 0, 0, false
	}
	return s.here, s.places[s.here].deg, true
}

// Moved reports whether the arm was seen to move since the last station was taken.
func (s *Stations) Moved() bool { return s.moved }

// Arrive says that the arm now stands at the present station, for stations that are Told: readings count from here.
func (s *Stations) Arrive() {
	s.clear()
	s.moved = true
}

// AddReading takes a reading; it returns the station when this reading completes it.
func (s *Stations) AddReading(t, mm float64, indicator int) (StationReading, bool) {
	if s.Done() || s.o.Typed || indicator < 0 || indicator >= len(s.windows) || !finite(t) || !finite(mm) {
		return StationReading{}, false
	}
	w := &s.windows[indicator]
	w.add(t, mm, s.o.SettleS)
	if s.o.Told {
		if s.moved && s.settled() {
			return s.take(false), true
		}
		return StationReading{}, false
	}
	if !s.moved && w.leaves(t, math.Abs(mm-w.last) > s.band(w)) {
		s.moved, s.movedAt = true, w.leftAt
		s.clear() // what was read on the old place must not count towards the new one
		return StationReading{}, false
	}
	if !s.moved || !s.settled() {
		return StationReading{}, false
	}
	if s.twitched() {
		s.moved = false
		return StationReading{}, false
	}
	return s.take(false), true
}

// byHandS is how far back a reading counts that is taken on the person's word: before, the arm may have been on its
// way.
const byHandS = 0.4

// TakeNow takes the present station on the person's word, from what was read in the last moments. It fails only when
// there is no reading of some indicator.
func (s *Stations) TakeNow() (StationReading, bool) {
	if s.Done() || s.o.Typed {
		return StationReading{}, false
	}
	for i := range s.windows {
		if len(s.windows[i].mm) == 0 {
			return StationReading{}, false
		}
	}
	for i := range s.windows {
		s.windows[i].since(byHandS)
	}
	return s.take(true), true
}

// Put takes what a person read off an indicator at the present station at t; it returns the station once every
// indicator has its reading. A second reading of the same indicator replaces the first.
func (s *Stations) Put(t, mm float64, indicator int) (StationReading, bool) {
	if s.Done() || indicator < 0 || indicator >= len(s.windows) || !finite(t) || !finite(mm) {
		return StationReading{}, false
	}
	w := &s.windows[indicator]
	w.clear()
	w.add(t, mm, s.o.SettleS)
	if s.Wanted() >= 0 {
		return StationReading{}, false
	}
	return s.take(true), true
}

// Wanted returns the first indicator that has no reading at the present station; -1 when each has one.
func (s *Stations) Wanted() int {
	return slices.IndexFunc(s.windows, func(w window) bool { return len(w.mm) == 0 })
}

func (s *Stations) take(byHand bool) StationReading {
	p := &s.places[s.here]
	r := StationReading{Place: s.here, Deg: p.deg, ByHand: byHand}
	for i := range s.windows {
		w := &s.windows[i]
		w.last = w.middle()
		r.Spread = math.Max(r.Spread, w.span())
		if !byHand {
			s.quiet.join(w.noise())
		}
		r.Points = append(r.Points, Point{T: w.t[len(w.t)-1], Angle: s.angle(), Reading: w.last, Indicator: i})
	}
	r.Reading = r.Points[0].Reading
	p.state, p.reading = StationTaken, r
	s.order = append(s.order, s.here)
	s.onward()
	return r
}

// angle is the present station's. The closing station is a turn further on, so that the closure can be told from the
// first reading.
func (s *Stations) angle() float64 {
	a := Radians(s.places[s.here].deg)
	if s.o.Closing && s.here > 0 && s.here == len(s.places)-1 {
		a += 2 * math.Pi
	}
	return a
}

// onward goes to the next station that is ahead.
func (s *Stations) onward() {
	s.clear()
	s.moved = s.o.Typed
	s.here = slices.IndexFunc(s.places, func(p place) bool { return p.state == StationAhead })
	if s.here < 0 {
		s.here = len(s.places)
	}
}

// Skip leaves the present station out.
func (s *Stations) Skip() error {
	if s.Done() {
		return fmt.Errorf("no station is left to skip")
	}
	s.places[s.here].state = StationSkipped
	s.stay()
	s.onward()
	return nil
}

// Redo puts a station back to be taken next, and gives the reading it had, to be left out; negative means the last one
// that was taken or skipped. A station that was skipped had none.
func (s *Stations) Redo(i int) (old StationReading, had bool, err error) {
	if i < 0 {
		if i = s.latest(); i < 0 {
			return old, false, fmt.Errorf("no station has been taken yet")
		}
	}
	if i >= len(s.places) {
		return old, false, fmt.Errorf("there is no station %d; the last is %d", i, len(s.places)-1)
	}
	p := &s.places[i]
	if p.state == StationAhead {
		return old, false, fmt.Errorf("station %d of %d has not been taken yet", i+1, len(s.places))
	}
	old, had = p.reading, p.state == StationTaken
	s.order = slices.DeleteFunc(s.order, func(k int) bool { return k == i })
	*p = place{deg: p.deg}
	s.here = i
	s.stay()
	s.clear()
	s.moved = s.o.Typed
	return old, had, nil
}

// stay takes it that the arm is not where the next reading belongs, wherever it stands: it must be seen to move first.
func (s *Stations) stay() {
	for i := range s.windows {
		if w := &s.windows[i]; len(w.mm) > 0 {
			w.last = w.middle()
		}
	}
}

// latest is the station before the present one in the order of the list that was taken or skipped, else the last taken.
func (s *Stations) latest() int {
	for i := min(s.here, len(s.places)) - 1; i >= 0; i-- {
		if s.places[i].state != StationAhead {
			return i
		}
	}
	if n := len(s.order); n > 0 {
		return s.order[n-1]
	}
	return -1
}
