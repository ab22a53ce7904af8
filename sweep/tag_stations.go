package sweep

import (
	"math"
	"slices"
)

// StationOptions describe a sweep by stations: the arm is turned by hand to announced angles and a settled reading is
// taken at each.
type StationOptions struct {
	AnglesDeg  []float64 // in the order they are visited
	Closing    bool      // return to the first angle at the end, so that the closure is seen
	SettleS    float64   // how long the reading must lie still; 0 = 1 s
	SettleMM   float64   // widest span of readings that counts as still; 0 = adapts to the noise, up to 0.01 mm
	Resolution float64   // of the indicators, mm; the span is never narrower than three steps
	Indicators int       // how many indicators there are; every one must lie still
}

// Stations tags readings by announced stations. It sees by itself when the arm has been moved and the reading has settled:
// the reading must first leave the place it was taken at (an arm that is turned stirs the plunger), then lie within a
// narrow span for SettleS. Where a true spindle and a smooth surface give nothing to see, TakeNow takes the station.
//
// Stations is for one goroutine.
type Stations struct {
	o       StationOptions
	angles  []float64 // degrees, the closing station included
	taken   []StationReading
	next    int
	moved   bool
	movedAt float64  // when the reading left the place of the last station
	windows []window // per indicator
}

// StationReading is a station that has been taken.
type StationReading struct {
	Deg     float64
	Points  []Point // one per indicator: the mean of the settled readings
	Spread  float64 // mm, widest span among the indicators
	ByHand  bool    // taken on the person's word
	Reading float64 // mm, of the first indicator
}

// window holds the readings of the last SettleS of one indicator.
type window struct {
	t, mm []float64
	last  float64 // mean when the last station was taken
	full  bool    // covers SettleS
}

// NewStations begins a sweep by stations.
func NewStations(o StationOptions) *Stations {
	if o.SettleS <= 0 {
		o.SettleS = 1
	}
	if o.Indicators <= 0 {
		o.Indicators = 1
	}
	s := &Stations{o: o, angles: slices.Clone(o.AnglesDeg), windows: make([]window, o.Indicators), moved: true}
	if o.Closing && len(s.angles) > 1 {
		s.angles = append(s.angles, s.angles[0])
	}
	return s
}

// Angles gives the stations in order, in degrees.
func (s *Stations) Angles() []float64 { return s.angles }

// Taken gives the stations taken so far.
func (s *Stations) Taken() []StationReading { return s.taken }

// Done says whether every station has been taken.
func (s *Stations) Done() bool { return s.next >= len(s.angles) }

// Next gives the angle to turn to, in degrees.
func (s *Stations) Next() (deg float64, ok bool) {
	if s.Done() {
		return 0, false
	}
	return s.angles[s.next], true
}

// Moved says whether the arm was seen to move since the last station was taken.
func (s *Stations) Moved() bool { return s.moved }

// AddReading takes a reading; it returns the station when this reading completes it.
func (s *Stations) AddReading(t, mm float64, indicator int) (StationReading, bool) {
	if s.Done() || indicator < 0 || indicator >= len(s.windows) || !finite(t) || !finite(mm) {
		return StationReading{}, false
	}
	w := &s.windows[indicator]
	w.add(t, mm, s.o.SettleS)
	if !s.moved && math.Abs(mm-w.last) > s.band(w) {
		s.moved, s.movedAt = true, t
		for i := range s.windows { // what was read on the old place must not count towards the new one
			s.windows[i].clear()
		}
		return StationReading{}, false
	}
	if !s.moved {
		return StationReading{}, false
	}
	for i := range s.windows {
		w := &s.windows[i]
		if !w.full || w.span() > s.band(w) {
			return StationReading{}, false
		}
	}
	if s.twitched() {
		s.moved = false
		return StationReading{}, false
	}
	return s.take(false), true
}

// shortestTurn is the time below which a disturbance cannot have been the arm going to another station.
const shortestTurn = 0.7

// twitched says whether the reading only stirred and came back: somebody leant on the table, and the arm is where it was.
func (s *Stations) twitched() bool {
	if s.next == 0 {
		return false
	}
	for i := range s.windows {
		w := &s.windows[i]
		if w.t[0]-s.movedAt >= shortestTurn || math.Abs(w.mean()-w.last) > s.band(w) {
			return false
		}
	}
	return true
}

// TakeNow takes the present station on the person's word, from what was read in the last SettleS. It fails only when
// there is no reading of some indicator.
func (s *Stations) TakeNow() (StationReading, bool) {
	if s.Done() {
		return StationReading{}, false
	}
	for i := range s.windows {
		if len(s.windows[i].mm) == 0 {
			return StationReading{}, false
		}
	}
	return s.take(true), true
}

func (s *Stations) take(byHand bool) StationReading {
	deg := s.angles[s.next]
	r := StationReading{Deg: deg, ByHand: byHand}
	for i := range s.windows {
		w := &s.windows[i]
		w.last = w.mean()
		r.Spread = math.Max(r.Spread, w.span())
		// The closing station is a turn further on, so that the closure can be told from the first reading.
		angle := Radians(deg)
		if s.next == len(s.angles)-1 && s.o.Closing && s.next > 0 {
			angle += 2 * math.Pi
		}
		r.Points = append(r.Points, Point{T: w.t[len(w.t)-1], Angle: angle, Reading: w.last, Indicator: i})
	}
	r.Reading = r.Points[0].Reading
	for i := range s.windows {
		s.windows[i].clear()
	}
	s.taken = append(s.taken, r)
	s.next++
	s.moved = false
	return r
}

// band is the span within which readings count as still. It widens with the noise that is seen from reading to reading,
// but not so far that a slow turn of the arm could pass for stillness.
func (s *Stations) band(w *window) float64 {
	if s.o.SettleMM > 0 {
		return s.o.SettleMM
	}
	floor := math.Max(3*s.o.Resolution, 0.002)
	return math.Max(floor, math.Min(0.01, 6*w.noise()))
}

func (w *window) clear() { w.t, w.mm, w.full = w.t[:0], w.mm[:0], false }

func (w *window) add(t, mm, span float64) {
	if n := len(w.t); n > 0 && t < w.t[n-1] { // a clock that goes backwards starts the wait anew
		w.clear()
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

func (w *window) span() float64 {
	if len(w.mm) == 0 {
		return 0
	}
	return slices.Max(w.mm) - slices.Min(w.mm)
}

func (w *window) mean() float64 {
	sum := 0.0
	for _, x := range w.mm {
		sum += x - w.mm[0]
	}
	return w.mm[0] + sum/float64(len(w.mm))
}

// noise estimates the standard deviation from the differences of neighbouring readings, which a slow drift leaves alone.
func (w *window) noise() float64 {
	if len(w.mm) < 4 {
		return 0
	}
	sum := 0.0
	for i := 1; i < len(w.mm); i++ {
		sum += math.Abs(w.mm[i] - w.mm[i-1])
	}
	// For normal noise the mean absolute difference of two readings is 2/sqrt(pi) standard deviations.
	return sum / float64(len(w.mm)-1) * math.Sqrt(math.Pi) / 2
}
