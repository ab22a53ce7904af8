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

// station takes a reading when the angle source is stations.
func (j *job) station(s *Session, t, mm float64, indicator int) {
	if j.wants != nil {
		j.answered(s, t, mm, indicator)
		return
	}
	if r, ok := j.stations.AddReading(t, mm, indicator); ok {
		j.took(s, r)
	}
}

func (j *job) took(s *Session, r sweep.StationReading) {
	j.begun, j.phase = true, api.PhaseTurning
	j.movedAt = time.Now()
	if j.measured != nil {
		j.tookPlace(s, r)
	}
	for _, p := range r.Points {
		if j.measured != nil {
			break
		}
		if j.there {
			p = j.asMeasured(p)
		}
		j.keep(p)
		j.live.Add(p)
	}
	if j.motion != nil {
		j.motion.runner.Taken() // after the last the arm is moved back, and the run ends when it stands
		return
	}
	if j.stations.Done() {
		s.end(api.Finished, "")
	}
}

// atStation runs f on the stations of a run that is taking readings.
func (s *Session) atStation(ctx context.Context, run int64, f func(j *job) error) error {
	var err error
	if e := s.ask(ctx, func() {
		switch {
		case s.job == nil || s.job.run != run || s.job.phase == api.PhaseFitting:
			err = api.NotFound.Errorf("run %d is not taking readings", run)
		case s.job.motion != nil:
			err = api.Conflict.Errorf(
				"a program moves the arm and takes its stations by itself; abandon run %d to stop it", run)
		case s.job.stations == nil && s.job.course == nil:
			err = api.Conflict.Errorf("the angle source of this machine knows no stations")
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
	if s.o.Angle.Steady != nil && !s.steered(ctx, run) {
		return s.startMark(ctx, run)
	}
	if err := s.atStation(ctx, run, func(j *job) error { return s.takeNow(j) }); err != nil {
		return err
	}
	return s.awaitAnswers(ctx, run)
}

// steered reports whether a run that is being taken is a half turn or no sweep at all.
func (s *Session) steered(ctx context.Context, run int64) (yes bool) {
	// An error here means the session has stopped; what is asked for next says so.
	_ = s.ask(ctx, func() { yes = s.job != nil && s.job.run == run && s.job.kind != api.Sweeping })
	return yes
}

func (s *Session) takeNow(j *job) error {
	if j.typed(s) {
		return api.Conflict.Errorf("readings are typed here: send the reading itself")
	}
	if missing := s.missingTo(j); missing != "" {
		return api.Conflict.Errorf("%s", missing)
	}
	if j.course != nil {
		return j.course.take(s, j)
	}
	if !j.standsThere(s) {
		return api.Conflict.Errorf("%s", j.say(s))
	}
	if s.demand(j) {
		return nil
	}
	if why := j.askAgain(); why != "" {
		return api.Conflict.Errorf("%s", why)
	}
	r, ok := j.stations.TakeNow()
	if !ok {
		return api.Conflict.Errorf("no reading since the last station; wait for the indicator")
	}
	j.took(s, r)
	return nil
}

// unstirred is a take that was put off, since nothing had stirred the plunger after the last station: the arm may still
// stand there. On a flat table under a coarse display nothing need stir, so a second word is believed.
type unstirred struct {
	station int // one more than it; 0: none
	at      time.Time
}

// askAgain puts off a take of a station that the arm was not seen to move to, once for each.
func (j *job) askAgain() string {
	i, _, ok := j.stations.Here()
	if !ok || j.stations.Taken() == 0 || j.stations.Moved() {
		return ""
	}
	const bounce = 400 * time.Millisecond
	if j.unstirred.station == i+1 && time.Since(j.unstirred.at) >= bounce {
		return ""
	}
	j.unstirred = unstirred{i + 1, time.Now()}
	return j.sayUnstirred()
}

func (j *job) sayUnstirred() string {
	return fmt.Sprintf(
		"Nothing has stirred the plunger since the last station. %s; if it stands there, take it once more.",
		j.wayThere())
}

// Put takes what a person read off a plain indicator at the present station: "0.12", "-3 um", "0,004 in". The indicator
// may be left out where there is one only.
func (s *Session) Put(ctx context.Context, run int64, indicator, text string) error {
	return s.atStation(ctx, run, func(j *job) error {
		if !j.typed(s) {
			return api.Conflict.Errorf("readings come from the indicator's port on this machine; they are not typed")
		}
		i := j.stations.Wanted()
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
		if r, ok := j.stations.Put(device.Now().Seconds(), mm.MM(), i); ok {
			j.took(s, r)
		}
		return nil
	})
}

// Skip leaves the present station out.
func (s *Session) Skip(ctx context.Context, run int64) error {
	return s.atStation(ctx, run, func(j *job) error {
		if j.kind == api.HalfTurn {
			return api.Conflict.Errorf("a half turn needs both its readings; abandon run %d to leave it", run)
		}
		if j.course != nil {
			return j.course.skip(s, j)
		}
		if err := j.stations.Skip(); err != nil {
			return api.Conflict.Errorf("%v", err)
		}
		j.movedAt = time.Now()
		if j.stations.Done() {
			s.end(api.Finished, "")
		}
		return nil
	})
}

// Redo puts a station back to be taken next; negative means the last one. What was read there stays in the store, but
// no longer counts.
func (s *Session) Redo(ctx context.Context, run int64, station int) error {
	return s.atStation(ctx, run, func(j *job) error {
		if j.course != nil {
			return j.course.redo(s, j, station)
		}
		old, had, err := j.stations.Redo(station)
		if err != nil {
			return api.Conflict.Errorf("%v", err)
		}
		j.movedAt = time.Now()
		if had {
			d := sweep.Doubt{Code: sweep.DoubtRedone, FromS: math.Inf(1), ToS: math.Inf(-1),
				Text: fmt.Sprintf("the reading at %s was taken again", j.nameOf(old.Place))}
			for _, p := range old.Points {
				d.FromS, d.ToS = min(d.FromS, p.T), max(d.ToS, p.T)
			}
			j.flush(s, time.Now()) // what is in doubt must be there before the doubt
			j.doubt(s, d)
		}
		j.retaken(s)
		return nil
	})
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
		if j := s.job; j.steady != nil && !j.steady.pulses && !j.begun {
			j.mark(s, x.At.Seconds(), true)
		}
		if s.job.stations == nil && s.job.course == nil || s.job.motion != nil {
			continue
		}
		if err := s.takeNow(s.job); err != nil {
			s.o.Log.Info("the trigger took nothing", "why", err)
		}
	}
}

// unsettledFor is how long a reading may go to and fro before tramd says what to do about it.
const unsettledFor = 8 // seconds

func (j *job) sayStation(s *Session) string {
	i, deg, ok := j.stations.Here()
	if !ok {
		return ""
	}
	if j.typed(s) {
		who := ""
		if len(j.setup.Indicators) > 1 {
			who = " of " + s.wanted(j)
		}
		return fmt.Sprintf("%s and type the reading%s.", j.wayThere(), who)
	}
	if span, long := j.stations.Unsettled(); long > unsettledFor {
		return fmt.Sprintf("The reading at %s does not lie still (%.3f mm to and fro): let go, or take it as it is.",
			j.nameOf(i), span)
	}
	if j.stations.Moved() {
		return fmt.Sprintf("%s, let go and keep still.", j.wayThere())
	}
	if j.unstirred.station == i+1 {
		return j.sayUnstirred()
	}
	if j.measured != nil {
		return "Taken. " + j.wayThere() + "."
	}
	return fmt.Sprintf("Taken. Turn the arm on to %s.", place(deg))
}

// wanted names the indicator whose reading is to be typed next.
func (s *Session) wanted(j *job) string {
	if j.stations == nil || !j.typed(s) || j.phase == api.PhaseFitting {
		return ""
	}
	if i := j.stations.Wanted(); i >= 0 {
		return j.setup.Indicators[i].Name
	}
	return ""
}

func (s *Session) stationStates(st *sweep.Stations) []api.StationState {
	if st == nil && len(s.o.Angle.Stations.AnglesDeg) == 0 {
		return nil
	}
	if st == nil {
		st = sweep.NewStations(s.o.Angle.Stations)
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
