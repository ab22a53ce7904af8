package session

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/device"
	"tramd/sweep"
	"tramd/sweep/units"
)

// atStations are the announced places of a run, at which the arm or the indicator rests: the stations of a sweep, the
// two of a half turn, the places of another measurement. A person goes there, or a program moves the arm.
type atStations struct {
	*sweep.Stations
	there     bool    // with an encoder: the arm rests at the station,
	restAngle float64 // at this angle
	unstirred unstirred
	wants     map[int]bool // indicators that were asked and have not answered; nil: none is asked
}

// reading takes a reading of an indicator while the arm stands at the station.
func (a *atStations) reading(s *Session, j *job, indicator int, t, mm float64) {
	if j.motion != nil {
		j.motion.runner.Reading(indicator, mm)
	}
	if !j.takes() || !a.standsThere(s, j) {
		return
	}
	if a.wants != nil {
		a.answered(s, j, t, mm, indicator)
		return
	}
	if r, ok := a.AddReading(t, mm, indicator); ok {
		a.took(s, j, r)
	}
}

func (a *atStations) turned(*job) float64               { return float64(a.Taken()) / float64(a.Len()) }
func (*atStations) streams() bool                       { return false }
func (*atStations) tick(*Session, *job, time.Time) bool { return false }
func (*atStations) close()                              {}

func (a *atStations) took(s *Session, j *job, r sweep.StationReading) {
	j.begun, j.phase = true, api.PhaseTurning
	j.movedAt = time.Now()
	if j.measured != nil {
		a.tookPlace(s, j, r)
	}
	for _, p := range r.Points {
		if j.measured != nil {
			break
		}
		if a.there {
			p = a.asMeasured(p)
		}
		j.keep(p)
		j.live.Add(p)
	}
	if j.motion != nil {
		j.motion.runner.Taken() // after the last the arm is moved back, and the run ends when it stands
		return
	}
	if a.Done() {
		s.end(api.Finished, "")
	}
}

// atStep runs f on a run that is taking readings step by step, or waits for its start mark.
func (s *Session) atStep(ctx context.Context, run int64, f func(j *job) error) error {
	var err error
	if e := s.ask(ctx, func() {
		switch {
		case s.job == nil || s.job.run != run || s.job.phase == api.PhaseFitting:
			err = api.NotFound.Errorf("run %d is not taking readings", run)
		case s.job.motion != nil:
			err = api.Conflict.Errorf(
				"a motor moves it and the readings are taken by themselves; abandon run %d to stop it", run)
		default:
			err = f(s.job)
		}
	}); e != nil {
		return e
	}
	return err
}

// Take takes the present station, or the start mark of constant turning, on the person's word.
func (s *Session) Take(ctx context.Context, run int64) error {
	s.readNow()
	if err := s.atStep(ctx, run, func(j *job) error {
		if w, steady := j.source.(*turning); steady {
			return w.start(s, j)
		}
		return s.takeNow(j)
	}); err != nil {
		return err
	}
	return s.awaitAnswers(ctx, run)
}

var errNoStations = api.Conflict.New("the angle source of this machine knows no stations")

func (s *Session) takeNow(j *job) error {
	at, ok := j.source.(steps)
	if !ok {
		return errNoStations
	}
	if j.typed(s) {
		return api.Conflict.Errorf("readings are typed here: send the reading itself")
	}
	if missing := s.missingTo(j); missing != "" {
		return api.Conflict.Errorf("%s", missing)
	}
	return at.take(s, j)
}

// take takes the station on a person's word.
func (a *atStations) take(s *Session, j *job) error {
	if !a.standsThere(s, j) {
		return api.Conflict.Errorf("%s", j.say(s))
	}
	if a.demand(s, j) {
		return nil
	}
	if why := a.askAgain(j); why != "" {
		return api.Conflict.Errorf("%s", why)
	}
	r, ok := a.TakeNow()
	if !ok {
		return api.Conflict.Errorf("no reading since the last station; wait for the indicator")
	}
	a.took(s, j, r)
	return nil
}

// unstirred is a take that was put off, since nothing had stirred the plunger after the last station: the arm may still
// stand there. On a flat table under a coarse display nothing need stir, so a second word is believed.
type unstirred struct {
	station int // one more than it; 0: none
	at      time.Time
}

// askAgain puts off a take of a station that the arm was not seen to move to, once for each.
func (a *atStations) askAgain(j *job) string {
	i, _, ok := a.Here()
	if !ok || a.Taken() == 0 || a.Moved() {
		return ""
	}
	const bounce = 400 * time.Millisecond
	if a.unstirred.station == i+1 && time.Since(a.unstirred.at) >= bounce {
		return ""
	}
	a.unstirred = unstirred{i + 1, time.Now()}
	return a.sayUnstirred(j)
}

func (a *atStations) sayUnstirred(j *job) string {
	return fmt.Sprintf(
		"Nothing has stirred the plunger since the last station. %s; if it stands there, take it once more.",
		a.wayThere(j))
}

// Put takes what a person read off a plain indicator at the present station: "0.12", "-3 um", "0,004 in". The indicator
// may be left out where there is one only.
func (s *Session) Put(ctx context.Context, run int64, indicator, text string) error {
	return s.atStep(ctx, run, func(j *job) error {
		if _, ok := j.source.(steps); !ok {
			return errNoStations
		}
		a := j.stations()
		if a == nil || !j.typed(s) {
			return api.Conflict.Errorf("readings come from the indicator's port on this machine; they are not typed")
		}
		i := a.Wanted()
		if indicator != "" {
			i = slices.IndexFunc(j.setup.Indicators, func(x sweep.Indicator) bool { return x.Name == indicator })
		}
		if i < 0 {
			return api.Invalid.Errorf("there is no indicator %q", indicator)
		}
		mm, err := units.ParseLength(text, s.o.Angle.TypedUnit)
		if err != nil {
			return api.Invalid.Errorf("%v", err)
		}
		if j.measured == nil {
			s.latest[i] = latest{at: device.Now(), mm: mm, n: s.latest[i].n + 1}
		}
		j.movedAt = time.Now()
		if r, ok := a.Put(device.Now().Seconds(), mm.MM(), i); ok {
			a.took(s, j, r)
		}
		return nil
	})
}

// Skip leaves the present station out.
func (s *Session) Skip(ctx context.Context, run int64) error {
	return s.atStep(ctx, run, func(j *job) error {
		at, ok := j.source.(steps)
		if !ok {
			return errNoStations
		}
		return at.skip(s, j)
	})
}

func (a *atStations) skip(s *Session, j *job) error {
	if j.kind == api.HalfTurn {
		return api.Conflict.Errorf("a half turn needs both its readings; abandon run %d to leave it", j.run)
	}
	if err := a.Skip(); err != nil {
		return api.Conflict.Errorf("%v", err)
	}
	j.movedAt = time.Now()
	if a.Done() {
		s.end(api.Finished, "")
	}
	return nil
}

// Redo puts a station back to be taken next; negative means the last one. What was read there stays in the store, but
// no longer counts.
func (s *Session) Redo(ctx context.Context, run int64, station int) error {
	return s.atStep(ctx, run, func(j *job) error {
		at, ok := j.source.(steps)
		if !ok {
			return errNoStations
		}
		return at.redo(s, j, station)
	})
}

func (a *atStations) redo(s *Session, j *job, station int) error {
	old, had, err := a.Redo(station)
	if err != nil {
		return api.Conflict.Errorf("%v", err)
	}
	j.movedAt = time.Now()
	if had {
		d := sweep.Doubt{Code: sweep.DoubtRedone, FromS: math.Inf(1), ToS: math.Inf(-1),
			Text: fmt.Sprintf("the reading at %s was taken again", a.nameOf(j, old.Place))}
		for _, p := range old.Points {
			d.FromS, d.ToS = min(d.FromS, p.T), max(d.ToS, p.T)
		}
		j.flush(s, time.Now()) // what is in doubt must be there before the doubt
		j.doubt(s, d)
	}
	a.retaken(s, j)
	return nil
}

// triggerRest is how long a foot switch must rest between two stations: contacts bounce.
const triggerRest = device.Stamp(400 * time.Millisecond)

// pressed takes what the foot switch or button on the trigger port sent.
func (s *Session) pressed(samples []device.Sample) {
	for _, x := range samples {
		bounce := s.pressedAt != 0 && x.At-s.pressedAt < triggerRest
		s.pressedAt = x.At
		if bounce || s.job == nil || s.job.phase == api.PhaseFitting {
			continue
		}
		j := s.job
		switch at := j.source.(type) {
		case *turning:
			if !at.pulses && !j.begun {
				at.mark(s, j, x.At.Seconds(), true)
			}
		case steps:
			if j.motion != nil {
				continue
			}
			if err := s.takeNow(j); err != nil {
				s.o.Log.Info("the trigger took nothing", "why", err)
			}
		}
	}
}

// unsettledFor is how long a reading may go to and fro before tramd says what to do about it.
const unsettledFor = 8 // seconds

func (a *atStations) say(s *Session, j *job) string {
	if j.kind == api.HalfTurn {
		return a.sayHalfTurn(s, j)
	}
	i, deg, ok := a.Here()
	if !ok {
		return ""
	}
	if j.typed(s) {
		who := ""
		if len(j.setup.Indicators) > 1 {
			who = " of " + s.wanted(j)
		}
		return fmt.Sprintf("%s and type the reading%s.", a.wayThere(j), who)
	}
	if span, long := a.Unsettled(); long > unsettledFor {
		return fmt.Sprintf("The reading at %s does not lie still (%.3f mm to and fro): let go, or take it as it is.",
			a.nameOf(j, i), span)
	}
	if a.Moved() {
		return fmt.Sprintf("%s, let go and keep still.", a.wayThere(j))
	}
	if a.unstirred.station == i+1 {
		return a.sayUnstirred(j)
	}
	if j.measured != nil {
		return "Taken. " + a.wayThere(j) + "."
	}
	return fmt.Sprintf("Taken. Turn the arm on to %s.", place(deg))
}

// wanted names the indicator whose reading is to be typed next.
func (s *Session) wanted(j *job) string {
	a := j.stations()
	if a == nil || !j.typed(s) || j.phase == api.PhaseFitting {
		return ""
	}
	if i := a.Wanted(); i >= 0 {
		return j.setup.Indicators[i].Name
	}
	return ""
}

func (s *Session) stationStates(st *atStations) []api.StationState {
	if st == nil && len(s.o.Angle.Stations.AnglesDeg) == 0 {
		return nil
	}
	if st == nil {
		st = &atStations{Stations: sweep.NewStations(s.o.Angle.Stations)}
	}
	here, _, _ := st.Here()
	names := map[sweep.StationState]string{sweep.StationAhead: "ahead", sweep.StationTaken: "taken",
		sweep.StationSkipped: "skipped"}
	var out []api.StationState
	for i := range st.Len() {
		deg, state, r := st.Station(i)
		x := api.StationState{Deg: deg, State: names[state]}
		switch {
		case state == sweep.StationTaken:
			x.ReadingMM = &r.Reading
		case i == here && s.job != nil:
			x.State = "here"
		}
		out = append(out, x)
	}
	return out
}

// place names an angle as a person at the machine sees it.
func place(deg float64) string {
	names := map[float64]string{0: "right", 90: "back", 180: "left", 270: "front"}
	w := math.Mod(math.Mod(deg, 360)+360, 360)
	if n, ok := names[w]; ok {
		return fmt.Sprintf("%.0f° (%s)", w, n)
	}
	return fmt.Sprintf("%.0f°", w)
}
