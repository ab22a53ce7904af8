package session

import (
	"context"
	"maps"
	"time"

	"tramd/device"
	"tramd/sweep"
)

// Snapshot gives everything a face may show, as of now.
func (s *Session) Snapshot(ctx context.Context) (*Snapshot, error) {
	var snap *Snapshot
	err := s.ask(ctx, func() {
		s.watched = time.Now()
		snap = s.snapshot(s.watched)
	})
	return snap, err
}

func (s *Session) snapshot(now time.Time) *Snapshot {
	out := &Snapshot{
		At: s.o.Wall(), Machine: s.o.Setup.Machine,
		Limit: s.o.Setup.Tolerance.Limit.MMPerM(), LimitAs: s.o.Setup.Tolerance.Text,
		Last: s.last, Runs: maps.Clone(s.counts), Troubles: maps.Clone(s.troubles), Check: s.check, Clock: ClockState{Set: s.o.ClockSet()},
		Drift: s.drift, NextCheck: s.next, NextWhy: s.nextWhy,
	}
	mono := device.Now()
	for i := range s.o.Ports {
		out.Devices = append(out.Devices, s.port(i, mono))
	}
	out.Angle = s.angleState(mono)
	_, _, _, out.Paired = sweep.OppositePair(s.o.Setup)
	out.Paired = out.Paired && s.o.Motion == nil
	out.Pair = s.pairState(mono, out.Angle.Deg)
	_, err := s.archive.state()
	out.Store.OK = err == nil
	if err != nil {
		out.Store.Error = err.Error()
	}
	if s.o.Inputs != nil {
		out.Inputs = s.o.Inputs()
	}
	if s.o.Hours != nil {
		out.Hours = s.o.Hours()
	}
	out.Sweep = s.sweepState()
	return out
}

func (s *Session) port(i int, mono device.Stamp) DeviceState {
	p := s.o.Ports[i]
	st := p.Status()
	d := DeviceState{
		Name: p.Name, Role: p.Role, Port: p.Path, State: string(st.State), SinceS: (mono - st.Since).Seconds(),
		Readings: st.Readings, Faults: st.Faults, Reconnects: st.Reconnects, Error: st.Err,
		Asked: st.Asked, Answered: st.Answered, AnswerMS: float64(st.AnswerDelay.Microseconds()) / 1000,
	}
	at := st.LastAt
	for k, r := range s.o.Indicators {
		if r.Device != i || s.latest[k].at == 0 {
			continue
		}
		at = max(at, s.latest[k].at)
		if mono-s.latest[k].at < device.Stamp(staleAfter) && d.ReadingMM == nil {
			mm := s.latest[k].mm.MM()
			d.ReadingMM = &mm
		}
	}
	if at > 0 {
		age := (mono - at).Seconds()
		d.AgeS = &age
	}
	return d
}

func (s *Session) angleState(mono device.Stamp) AngleState {
	a := AngleState{Source: s.o.Setup.AngleSource}
	if m := s.armed; m != nil && m.unattended && time.Now().Before(m.until) {
		a.ArmedUntil = &m.until
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

func (s *Session) sweepState() SweepState {
	j := s.job
	if j == nil || j.run == 0 {
		return SweepState{Phase: Idle, Stations: s.stationStates(nil), Say: s.missing()}
	}
	st := SweepState{
		Phase: j.phase, Run: j.run, Kind: j.kind, Started: &j.started, TurnsWanted: j.turns, TurnsDone: j.turned(),
		Readings: j.points.n, Untagged: j.untagged + j.doubtful, Sectors: j.live.Sectors(), Say: j.say(s),
		Stations: s.stationStates(j.stations), Wanted: s.wanted(j), Stored: int(j.durable.Load()),
		Doubts: j.doubts[:len(j.doubts):len(j.doubts)],
	}
	if r, err := j.live.Result(); err != nil {
		st.WhyNot = err.Error()
	} else {
		st.Result = &r
	}
	if j.full != nil { // a moment older, but its interval can be believed
		st.Result = j.full
	}
	st.Curve = j.curve(time.Now())
	return st
}

// curveEvery is how old a curve may be: it is long and changes slowly.
const curveEvery = 200 * time.Millisecond

// curve is the curve to be shown now. One that was handed out is never changed.
func (j *job) curve(now time.Time) []CurvePoint {
	if j.drawn != nil && now.Sub(j.drawnAt) < curveEvery {
		return j.drawn
	}
	points := j.live.Curve()
	j.drawn, j.drawnAt = make([]CurvePoint, len(points)), now
	for i, c := range points {
		j.drawn[i] = CurvePoint{Deg: c.Deg, MM: c.MM, Indicator: c.Indicator}
	}
	return j.drawn
}
