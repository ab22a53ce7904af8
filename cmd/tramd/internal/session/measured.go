package session

import (
	"context"
	"encoding/json"
	"slices"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/motion"
	"tramd/device"
	"tramd/sweep"
)

// Measurement is an attended run that is no sweep: readings at announced places along a line, at a bar, at a square.
// Its places are the stations of a sweep in all but the arm: announced, taken when the reading lies still, skipped,
// taken again.
type Measurement struct {
	Kind      string // traverse, bar, travel, cross
	Subject   string // its configured name
	Setup     sweep.Setup
	Indicator int    // of the session's indicators; its readings are those of Setup's only one
	Typed     bool   // a plain dial is read, and its readings typed
	Along     string // what says where a moving axis stands; empty: a person goes to each place
	Legs      []Leg  // the ways of that axis
	Own       []byte // what the fit needs beside the setup, JSON
	Places    []Place
	Steps     *motion.Program // a motor moves the axis to the places; nil: a person goes there
}

// Place is where one reading is taken.
type Place struct {
	Name    string             // "120 mm", "height 10 mm, 90°"
	Do      string             // what brings the indicator there: "Move the indicator to 120 mm"
	At      float64            // where it is drawn: position in mm, or angle in degrees
	Group   string             // the curve it belongs to: a line, a side, a height; empty: there is one
	Deg     float64            // spindle angle; NaN: it has none
	Numbers map[string]float64 // columns of its row in the record
	Words   map[string]string
}

// Found is what a measurement says.
type Found struct {
	JSON    json.RawMessage
	Model   string
	Version int
	Verdict sweep.Verdict
	Say     string // in one line
}

// measuring is what a job knows of a measurement, under the session's lock.
type measuring struct {
	at      []int     // of each kept point, its place
	nextFit time.Time // when the readings so far of a course may be fitted again
	found   *Found
	whyNot  string // why the readings so far say nothing
	works   bool   // a fit is being made
	grown   bool   // readings came meanwhile
}

// StartMeasurement begins one. It returns the run's id once the run stands in the store.
func (s *Session) StartMeasurement(ctx context.Context, m Measurement, purpose string) (int64, error) {
	if s.o.Measure == nil {
		return 0, api.Conflict.Errorf("nothing but sweeps is measured here")
	}
	if len(m.Places)+len(m.Legs) == 0 || m.Indicator < 0 || m.Indicator >= len(s.o.Indicators) ||
		len(m.Setup.Indicators) != 1 {
		return 0, api.Invalid.Errorf("a %s needs places and one indicator", m.Kind)
	}
	if m.Steps != nil {
		return 0, api.Conflict.Errorf(
			"a motor moves the axis along %s: arm it and start it with `tramd %s`, or by the page",
			m.Subject, sweep.KindTraverse)
	}
	if s.o.Indicators[m.Indicator].Device < 0 {
		m.Typed = true
	}
	w := runSpec{kind: m.Kind, setup: m.Setup, measured: &m}
	if m.Along != "" {
		return s.begin(ctx, w, 1, purpose, func(j *job) error { return s.alongLine(j) })
	}
	return s.begin(ctx, w, 1, purpose, func(j *job) error { return s.atPlaces(j) })
}

// atPlaces has a job take its readings place by place.
func (s *Session) atPlaces(j *job) error {
	m, o := j.measured, s.o.Angle.Stations
	o.AnglesDeg = make([]float64, len(m.Places))
	for i := range m.Places {
		o.AnglesDeg[i] = m.Places[i].Deg
	}
	o.Closing, o.Indicators, o.Typed, o.Told, o.Resolution = false, 1, m.Typed, m.Steps != nil,
		m.Setup.Indicators[0].ResolutionMM
	j.source, j.whyNot = &atStations{Stations: sweep.NewStations(o)}, "there are no readings yet"
	return nil
}

// alongLine has a job take its readings while an axis moves.
func (s *Session) alongLine(j *job) error {
	r := s.o.Indicators[j.measured.Indicator]
	var a along
	feed := &feeding{mmPerS: s.o.Position.MMPerS, now: func() float64 { return device.Now().Seconds() }}
	switch {
	case s.scale != nil:
		a = s.scale
	case feed.mmPerS > 0:
		a = feed
	default:
		return api.Conflict.Errorf("nothing says where the axis stands: write the table [position]")
	}
	switch {
	case r.Device < 0 || s.o.Ports[r.Device].Ask != nil:
		return api.Conflict.Errorf(
			"%s sends no readings by itself, so none can be taken while the axis moves: write by_hand = true there",
			j.measured.Setup.Indicators[0].Name)
	}
	c := newCourse(j.measured.Legs, a)
	j.source, j.whyNot = c, "there are no readings yet"
	feed.keep = func(p sweep.Point) { c.add(s, j, p) }
	feed.show = func(p sweep.Point) {
		j.movedAt = time.Now()
		c.draw(j, p)
	}
	return nil
}

// beginning is what is stored of it when it begins.
func (w runSpec) beginning(purpose string) Beginning {
	b := Beginning{Kind: w.kind, Purpose: purpose, Setup: w.setup}
	if w.measured != nil {
		b.Subject, b.Own = w.measured.Subject, w.measured.Own
	}
	return b
}

// typed reports whether a person reads the indicator and types.
func (j *job) typed(s *Session) bool {
	if j.measured != nil {
		return j.measured.Typed
	}
	return s.o.Angle.Stations.Typed
}

// slot is the number that an indicator of the session has in the run, and whether it belongs to it.
func (j *job) slot(indicator int) (int, bool) {
	if j.measured == nil {
		return indicator, true
	}
	return 0, indicator == j.measured.Indicator
}

// nameOf names a station for people.
func (a *atStations) nameOf(j *job, i int) string {
	if j.measured != nil {
		return j.measured.Places[i].Name
	}
	deg, _, _ := a.Station(i)
	return place(deg)
}

// wayThere says what brings the indicator to the present station.
func (a *atStations) wayThere(j *job) string {
	i, _, ok := a.Here()
	switch {
	case !ok:
		return ""
	case j.measured != nil:
		return j.measured.Places[i].Do
	}
	return "Turn the arm to " + a.nameOf(j, i)
}

// tookPlace keeps the reading of a place and has the readings so far fitted.
func (a *atStations) tookPlace(s *Session, j *job, r sweep.StationReading) {
	for _, p := range r.Points {
		j.keep(p)
		j.at = append(j.at, r.Place)
	}
	if !a.Done() {
		j.fitSoFar(s)
	}
}

// counting returns the readings that count, with their places: of a place that was taken again, the last one.
func (j *job) counting() ([]sweep.Point, *Spots) {
	if c, moves := j.source.(*course); moves {
		return c.soFar()
	}
	a := j.stations()
	var pts []sweep.Point
	spots := &Spots{Places: j.measured.Places}
	for i := range a.Len() {
		_, state, r := a.Station(i)
		if state != sweep.StationTaken {
			continue
		}
		for _, p := range r.Points {
			pts, spots.At = append(pts, p), append(spots.At, i)
		}
	}
	return pts, spots
}

// fitSoFar fits the readings so far beside the work, one fit at a time.
func (j *job) fitSoFar(s *Session) {
	if j.works {
		j.grown = true
		return
	}
	j.works, j.grown = true, false
	pts, spots := j.counting()
	m := *j.measured
	go func() {
		began := time.Now()
		f, err := s.o.Measure(m, pts, spots)
		// An error here means that the session has stopped: it has no readers then.
		_ = s.ask(context.Background(), func() {
			j.works, j.found, j.whyNot = false, &f, ""
			if err != nil {
				j.found, j.whyNot = nil, err.Error()
			}
			j.nextFit = time.Now().Add(fitRests * time.Since(began))
			if j.grown && !j.source.streams() && s.job == j && j.phase != api.PhaseFitting {
				j.fitSoFar(s)
			}
		})
	}()
}

// fitMeasured fits all of them for the record.
func (s *Session) fitMeasured(j *job) {
	run, m := j.run, *j.measured
	var gather func() ([]sweep.Point, *Spots)
	if c, moves := j.source.(*course); moves {
		pieces, stretches := j.points.since(0), slices.Clone(c.stretches)
		gather = func() ([]sweep.Point, *Spots) { return spread(c.places, stretches, 0, join(nil, pieces), true) }
	} else {
		pts, spots := j.counting()
		gather = func() ([]sweep.Point, *Spots) { return pts, spots }
	}
	go func() {
		f := fitted{run: run}
		pts, spots := gather()
		found, err := s.o.Measure(m, pts, spots)
		f.found, f.err = &found, err
		s.fits <- f
	}()
}

// showMeasured adds what a face shows of it.
func (j *job) showMeasured(st *api.SweepState) {
	out := &api.MeasuredState{Subject: j.measured.Subject, Moves: j.motion != nil}
	if j.found != nil {
		out.Found, out.Say = j.found.JSON, j.found.Say
	}
	st.Stations, st.WhyNot, st.Measured = nil, j.whyNot, out
	if c, moves := j.source.(*course); moves {
		c.show(out)
		return
	}
	a := j.stations()
	here, _, left := a.Here()
	names := map[sweep.StationState]string{sweep.StationAhead: "ahead", sweep.StationTaken: "taken",
		sweep.StationSkipped: "skipped"}
	for i, p := range j.measured.Places {
		_, state, r := a.Station(i)
		x := api.PlaceState{Name: p.Name, Group: p.Group, At: p.At, State: names[state]}
		switch {
		case state == sweep.StationTaken:
			x.ReadingMM = &r.Reading
		case left && i == here:
			x.State = "here"
		}
		out.Places = append(out.Places, x)
	}
}

// retaken is fitted again after a place was put back.
func (a *atStations) retaken(s *Session, j *job) {
	if j.measured == nil {
		return
	}
	if a.Taken() == 0 {
		j.found, j.whyNot = nil, "there are no readings yet"
		return
	}
	j.fitSoFar(s)
}
