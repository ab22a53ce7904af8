package session

import (
	"context"
	"fmt"
	"maps"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/device"
	"tramd/sweep"
)

// Snapshot returns everything a face may show, as of now: the lean holds the newest reading.
func (s *Session) Snapshot(ctx context.Context) (*api.Snapshot, error) {
	s.bring()
	var snap *api.Snapshot
	err := s.ask(ctx, func() {
		snap = s.snapshot()
		if j := s.job; j != nil && j.run != 0 && j.measured == nil {
			snap.Sweep.Curve = j.curve(time.Now())
		}
	})
	return snap, err
}

// Unwatched gives snapshots to those who show nothing to a person, as a scrape, an alarm or the clockwork: without the
// curve, and with the result as it was shown last. Nothing is worked out for them.
type Unwatched struct{ *Session }

// Snapshot returns the present state.
func (u Unwatched) Snapshot(ctx context.Context) (*api.Snapshot, error) {
	var snap *api.Snapshot
	err := u.ask(ctx, func() { snap = u.snapshot() })
	return snap, err
}

// Idle reports whether nothing is being measured.
func (u Unwatched) Idle(ctx context.Context) (idle bool, err error) {
	err = u.ask(ctx, func() { idle = u.snapshot().Sweep.Phase == api.PhaseIdle })
	return idle, err
}

func (s *Session) snapshot() *api.Snapshot {
	out := &api.Snapshot{
		At: s.o.Wall(), Machine: s.o.Setup.Machine,
		Limit: s.o.Setup.Tolerance.Limit.MMPerM(), LimitAs: s.o.Setup.Tolerance.Text,
		Last: s.last, Runs: maps.Clone(s.counts), Troubles: maps.Clone(s.troubles), Check: s.check,
		Clock: api.ClockState{Set: s.o.ClockSet()},
		Drift: s.drift, Assembly: s.assembly, NextCheck: s.next, NextWhy: s.nextWhy,
	}
	if out.Assembly == nil {
		out.Assembly = []api.StandingState{}
	}
	mono := device.Now()
	for i := range s.o.Ports {
		out.Devices = append(out.Devices, s.devices(i, mono)...)
	}
	out.Angle = s.angleState(mono)
	out.Position = s.positionState(mono)
	_, _, _, out.Paired = sweep.OppositePair(s.o.Setup)
	out.Paired = out.Paired && s.o.Motion == nil
	out.Pair = s.pairState(mono, out.Angle.Deg)
	_, err := s.archive.state()
	out.Store.OK, out.Store.Damaged = err == nil, s.damaged
	if err != nil {
		out.Store.Error = err.Error()
	}
	if s.o.Inputs != nil {
		out.Inputs = s.o.Inputs()
	}
	if s.o.Hours != nil {
		out.Hours = s.o.Hours()
	}
	out.Sweep, out.Unstored = s.sweepState(), s.unstoredRuns()
	return out
}

// devices returns what comes through a port: one state for each indicator on it, or one for whatever else it is.
func (s *Session) devices(i int, mono device.Stamp) []api.DeviceState {
	p := s.o.Ports[i]
	st := p.Status()
	d := api.DeviceState{
		Name: p.Name, Role: p.Role, Port: p.Path, State: string(st.State), Talk: string(st.Talk),
		SinceS:   (mono - st.Since).Seconds(),
		Readings: st.Readings, Faults: st.Faults, Reconnects: st.Reconnects, Error: st.Err,
		Asked: st.Asked, Answered: st.Answered, AnswerMS: float64(st.AnswerDelay.Microseconds()) / 1000,
	}
	last := st.LastAt
	heard(&d, last, mono)
	switch st.Talk {
	case device.Silent:
		silentSince(&d, max(last, st.Since), mono)
	case device.NotExpected:
		d.State = string(device.StateLive)
	}
	var out []api.DeviceState
	for k, r := range s.o.Indicators {
		if r.Device != i {
			continue
		}
		x := d
		x.Name = s.o.Setup.Indicators[k].Name
		if len(out) > 0 { // what is counted of the port is counted once
			x.Faults, x.Reconnects, x.Asked, x.Answered, x.AnswerMS = nil, 0, 0, 0, 0
		}
		out = append(out, x)
	}
	if len(out) == 0 {
		return []api.DeviceState{d}
	}
	n := 0
	for k, r := range s.o.Indicators {
		if r.Device != i {
			continue
		}
		x, l := &out[n], s.latest[k]
		n++
		if l.at != 0 && mono-l.at < device.Stamp(staleAfter) {
			mm := l.shown().MM()
			x.ReadingMM = &mm
			stands(x, l, mono)
		}
		if len(out) == 1 {
			heard(x, max(last, l.at), mono)
			continue
		}
		x.Readings = l.n
		heard(x, l.at, mono)
		if st.Unanswered != nil {
			x.Error = st.Unanswered[r.Channel] // another's reason is not this one's
		}
		// The port's other indicators may speak on while this one is silent. A shared port gives each its turn.
		if wait := device.Stamp(st.SilentFor) * device.Stamp(len(out)); st.Talk == device.Talking &&
			mono-max(l.at, st.Since) > wait {
			x.Talk = string(device.Silent)
			silentSince(x, max(l.at, st.Since), mono)
			if x.Error == "" {
				x.Error = fmt.Sprintf(
					"others on its port send, but no reading of it has come for %.0f s: check that it is on, its cable, and its channel %q",
					x.SinceS, r.Channel)
			}
		}
	}
	return out
}

// stands sets how far a reading may be trusted while an adjuster is loose.
func stands(d *api.DeviceState, l latest, mono device.Stamp) {
	if l.contact == nil {
		return
	}
	if s, ok := l.contact.At(mono.Seconds()); ok {
		d.RateMMPerS, d.LagMM, d.UMM = &s.RateMMPerS, &s.LagMM, &s.UMM
	}
}

// heard sets the age of what came last.
func heard(d *api.DeviceState, at, mono device.Stamp) {
	if at > 0 {
		age := (mono - at).Seconds()
		d.AgeS = &age
	}
}

// silentSince says that nothing has come since a moment.
func silentSince(d *api.DeviceState, since, mono device.Stamp) {
	d.State, d.SinceS = api.StateSilent, (mono - since).Seconds()
}

func (s *Session) angleState(mono device.Stamp) api.AngleState {
	a := api.AngleState{Source: s.o.Setup.AngleSource}
	if s.o.Motion != nil {
		if until := s.o.Interlock.PlannedUntil(); !until.IsZero() {
			a.ArmedUntil = &until
		}
	}
	if s.encoder == nil {
		return a
	}
	a.Zero = s.zeroState()
	rad, _, known := s.encoder.Angle()
	if !known || s.angleAt == 0 {
		return a
	}
	age := (mono - s.angleAt).Seconds()
	a.AgeS = &age
	if mono-s.angleAt < device.Stamp(staleAfter) && a.Zero.Known {
		deg := sweep.Degrees(sweep.Wrap(rad))
		a.Deg = &deg
	}
	return a
}

func (s *Session) sweepState() api.SweepState {
	j := s.job
	if j == nil || j.run == 0 {
		return api.SweepState{Phase: api.PhaseIdle, Stations: s.stationStates(nil), Say: s.missing()}
	}
	st := api.SweepState{
		Phase: j.phase, Run: j.run, Kind: j.kind, Started: &j.started,
		TurnsWanted: j.turns, TurnsDone: j.source.turned(j),
		Readings: j.points.n, Untagged: j.untagged + j.doubtful, Sectors: j.live.Sectors(), Say: j.say(s),
		Stations: s.stationStates(j.stations()), Wanted: s.wanted(j), Stored: int(j.durable.Load()),
		Doubts: j.doubts[:len(j.doubts):len(j.doubts)],
	}
	if j.measured != nil {
		j.showMeasured(&st)
		return st
	}
	s.addResult(j, &st, device.Now())
	return st
}

// addResult adds the live result, or why there is none.
func (s *Session) addResult(j *job, st *api.SweepState, mono device.Stamp) {
	st.Live = s.sayOfResult(j, mono)
	if x := j.shown; x != nil {
		age := s.ageOf(x, mono).Seconds()
		st.Result, st.ResultReadings, st.ResultAgeS = &x.result, x.n, &age
		return
	}
	if s.o.Follow == nil { // running sums alone
		if r, err := j.live.Result(); err == nil {
			st.Result, st.ResultReadings = &r, j.points.n
		} else {
			st.WhyNot = err.Error()
		}
		return
	}
	st.WhyNot = "the first full fit is being made"
	if why := j.ready(); why != nil {
		st.WhyNot = why.Error()
	}
}

// curveEvery is how old a curve may be: it is long and changes slowly.
const curveEvery = 200 * time.Millisecond

// curve is the curve to be shown now. One that was handed out is never changed.
func (j *job) curve(now time.Time) []api.CurvePoint {
	if j.drawn != nil && now.Sub(j.drawnAt) < curveEvery {
		return j.drawn
	}
	points := j.live.Curve()
	j.drawn, j.drawnAt = make([]api.CurvePoint, len(points)), now
	for i, c := range points {
		j.drawn[i] = api.CurvePoint{Deg: c.Deg, MM: c.MM, Indicator: c.Indicator}
	}
	return j.drawn
}
