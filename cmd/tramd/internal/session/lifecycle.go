package session

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/device"
	"tramd/sweep"
)

type fitted struct {
	run    int64
	result sweep.Result
	found  *Found // of a measurement that is no sweep
	err    error
	doubt  *sweep.Doubt // that the readings themselves showed
}

// NotFitted begins the reason of a sweep that had all its readings and still has no result.
const NotFitted = "cannot be fitted: "

// Start begins an attended sweep. It returns the run's id once the run stands in the store; readings are taken from
// when the arm begins to move.
func (s *Session) Start(ctx context.Context, turns int, purpose string) (int64, error) {
	if s.o.Motion != nil {
		return 0, api.Conflict.Errorf("a motor moves the arm of this machine: arm it and start it with `tramd program`")
	}
	var w runSpec
	if err := s.ask(ctx, func() { w = s.sweeping() }); err != nil {
		return 0, err
	}
	return s.begin(ctx, w, turns, purpose, func(*job) error { return nil })
}

// runSpec is what a run is to be.
type runSpec struct {
	kind     string
	setup    sweep.Setup
	measured *Measurement // nil: a sweep or a half turn
}

func (s *Session) sweeping() runSpec { return runSpec{kind: api.Sweeping, setup: s.setup()} }

// begin begins a run, with what ready does to its job before any reading can come.
func (s *Session) begin(ctx context.Context, w runSpec, turns int, purpose string, ready func(*job) error) (
	int64, error) {
	if turns < 1 || turns > sweep.MaxTurns {
		return 0, api.Invalid.Errorf("%d turns; ask for 1 to %d", turns, sweep.MaxTurns)
	}
	if purpose != "check" && purpose != "adjust" {
		return 0, api.Invalid.Errorf("purpose %q; write \"check\" or \"adjust\"", purpose)
	}
	var err error
	if e := s.ask(ctx, func() { err = s.reserve() }); e != nil {
		return 0, e
	}
	if err != nil {
		return 0, err
	}
	run, err := s.o.Archive.BeginRun(ctx, w.beginning(purpose))
	var unwritable *Unwritable
	if e := s.ask(context.WithoutCancel(ctx), func() {
		s.job = nil
		if errors.As(err, &unwritable) {
			run, err = s.beginUnstored(unwritable)
		} else if err == nil {
			s.nextRun = max(s.nextRun, run)
		}
		if err == nil {
			var j *job
			if j, err = newJob(s, run, turns, time.Now()); err == nil {
				j.runSpec, j.purpose = w, purpose
				s.job = j
				if s.pair != nil {
					s.pair.told = nil // the arm is about to be turned
				}
				err = ready(j)
			}
			if err != nil { // nothing was taken, and the record is not to hold an open run
				s.job = nil
				s.archive.add(writing{
					run: run, end: &Ending{Outcome: api.Failed, At: s.o.Wall(), Why: "it could not be begun: " +
						err.Error()}})
			}
		}
	}); e != nil {
		return 0, e
	}
	if err != nil {
		return 0, fmt.Errorf("cannot begin a run: %w", err)
	}
	s.o.Log.Info(w.kind+" begun", "run", run, "turns", turns, "purpose", purpose)
	return run, nil
}

// reserve keeps the place for a run that is being begun in the store; what stands there takes no readings.
func (s *Session) reserve() error {
	if s.job != nil {
		if s.job.run == 0 {
			return api.Conflict.Errorf("another sweep is just being begun")
		}
		return api.Conflict.Errorf("run %d is being taken; finish or abandon it first", s.job.run)
	}
	s.watchPair(device.Now(), s.angleState(device.Now()).Deg) // a last time before the spindle is turned
	s.job = &job{phase: api.PhaseFitting}
	return nil
}

// Abandon ends the sweep in hand; its readings stay in the store.
func (s *Session) Abandon(ctx context.Context, run int64) error {
	var err error
	if e := s.ask(ctx, func() {
		switch {
		case s.job == nil || s.job.run != run:
			err = api.NotFound.Errorf("run %d is not being taken", run)
		case s.job.phase == api.PhaseFitting:
			err = api.Conflict.Errorf("run %d already has all its readings", run)
		default:
			s.end(api.Abandoned, "given up by the person")
		}
	}); e != nil {
		return e
	}
	return err
}

// tick looks after what no reading would notice.
func (s *Session) tick(now time.Time) {
	s.watchAngle()
	s.watchScale()
	s.setAside()
	j := s.job
	if j == nil || j.phase == api.PhaseFitting {
		return
	}
	if now.Sub(j.flushedAt) >= flushEvery {
		j.flush(s, now)
	}
	switch missing := s.missingTo(j); {
	case missing == "":
		j.lostAt = time.Time{}
	case j.lostAt.IsZero():
		j.lostAt = now
	case j.begun && now.Sub(j.lostAt) > lostFor:
		s.end(api.Failed, missing)
		return
	}
	if !j.source.tick(s, j, now) && now.Sub(j.movedAt) > s.o.Idle {
		s.end(api.Abandoned, fmt.Sprintf("nothing moved for %v", s.o.Idle))
	}
}

// watchAngle notices that the encoder went away. Its count may start over, so nothing that was measured before can be
// joined with what comes after.
func (s *Session) watchAngle() {
	if s.encoder == nil {
		return
	}
	st := s.o.Ports[s.o.Angle.Device].Status()
	gone, jumped := st.Reconnects != s.comebacks, s.encoder.Jumps() != s.jumps
	s.comebacks, s.jumps = st.Reconnects, s.encoder.Jumps()
	if !gone && !jumped {
		return
	}
	if jumped && !gone && s.encoder.Recovers() {
		s.o.Log.Warn("the encoder's count jumped further than an arm can turn; its index mark will set it right")
		return
	}
	if jumped {
		s.o.Log.Warn("the encoder's count jumped further than an arm can turn; its zero may be lost")
	}
	s.encoderLost(jumped)
	s.encoder.Lose(s.emit)
	if s.job == nil || s.job.phase == api.PhaseFitting || !s.job.begun || s.job.measured != nil {
		return
	}
	why := "the encoder was unplugged and came back; its zero may be lost, so sweep again"
	if jumped {
		why = "the encoder's count jumped further than an arm can turn; check its wiring, then sweep again"
	}
	s.end(api.Failed, why)
}

// missing says which device is not there, in words, or "".
func (s *Session) missing() string {
	for _, p := range s.o.Ports {
		if p.Role == api.TriggerRole || p.Role == api.MachineRole || p.Role == api.PositionRole {
			continue // the reading can be taken without it
		}
		if why := absent(p); why != "" {
			return why
		}
	}
	return ""
}

// missingTo says which device a run needs and has not, in words, or "". A measurement that is no sweep needs one
// indicator at the most.
func (s *Session) missingTo(j *job) string {
	if j.measured == nil {
		return s.missing()
	}
	if r := s.o.Indicators[j.measured.Indicator]; !j.measured.Typed && r.Device >= 0 {
		if why := absent(s.o.Ports[r.Device]); why != "" {
			return why
		}
	}
	if _, moves := j.source.(*course); moves && s.scale != nil {
		return absent(s.o.Ports[s.scale.o.Device])
	}
	return ""
}

// absent says why a port cannot be read, in words, or "".
func absent(p Port) string {
	st := p.Status()
	switch {
	case st.State == device.StateAbsent:
		return fmt.Sprintf("%s is not plugged in (%s). Plug it in; tramd finds it again by itself.", p.Name, p.Path)
	case st.State == device.StateLost:
		return fmt.Sprintf("%s was unplugged (%s). Plug it in; tramd finds it again by itself.", p.Name, p.Path)
	case !st.Open() && st.Err != "":
		return fmt.Sprintf("%s cannot be read: %s.", p.Name, strings.TrimSuffix(st.Err, "."))
	case !st.Open():
		return fmt.Sprintf("The port of %s is being opened (%s).", p.Name, p.Path)
	case st.Talk == device.Silent:
		return fmt.Sprintf("%s is silent: %s.", p.Name, strings.TrimSuffix(st.Err, "."))
	}
	return ""
}

// end closes the sweep to readings and sees to its result. Where a program moves the arm it has that stopped first, and
// the run ends when the arm stands.
func (s *Session) end(o api.Outcome, why string) {
	j := s.job
	if j.motion != nil && !j.motion.over {
		s.stopArm(j, o, why)
		return
	}
	if s.encoder != nil && o != api.Finished {
		// What still waits for the encoder is kept, without an angle.
		s.encoder.Flush(s.emit)
	}
	j.source.close()
	j.phase, j.ends = api.PhaseFitting, ending{o, why}
	j.flush(s, time.Now())
	whole := o == api.Finished || j.motion != nil && j.stations().Done() // though the arm was stopped on its way back
	if !whole {
		s.conclude(Ending{Outcome: o, At: s.o.Wall(), Why: why})
		return
	}
	j.awaits = true
	if j.measured != nil {
		s.fitMeasured(j)
		return
	}
	pieces, run, doubts, w := j.points.since(0), j.run, j.doubts, j.runSpec
	go func() {
		f := fitted{run: run}
		all := join(nil, pieces)
		pts := sweep.Believed(all, doubts)
		if shift, found, _ := sweep.FindTurnShift(pts, w.setup); found && w.kind != api.HalfTurn {
			d := shift.Doubt(all[len(all)-1].T)
			f.doubt, doubts = &d, append(doubts[:len(doubts):len(doubts)], d)
			pts = sweep.Believed(all, doubts)
		}
		f.result, f.err = s.o.Fit(pts, w.setup)
		if f.err != nil && f.doubt != nil {
			f.err = fmt.Errorf("%w (%s)", f.err, f.doubt.Text)
		}
		if f.err == nil && w.kind == api.HalfTurn {
			f.err = f.result.FindPair(pts, w.setup)
		}
		f.result.WarnDoubts(doubts)
		s.fits <- f
	}()
}

func (s *Session) fitDone(f fitted) {
	if s.job == nil || s.job.run != f.run {
		return
	}
	s.job.awaits = false
	if f.doubt != nil {
		s.o.Log.Warn("counts were probably lost between two turns", "from", f.doubt.FromS)
		s.job.doubt(s, *f.doubt)
	}
	end := Ending{Outcome: s.job.ends.outcome, At: s.o.Wall(), Why: s.job.ends.why, Result: &f.result, Found: f.found}
	if s.job.measured != nil {
		end.Result = nil
	}
	switch {
	case f.err != nil && end.Outcome == api.Finished:
		end = Ending{Outcome: api.Failed, At: end.At, Why: NotFitted + f.err.Error()}
	case f.err != nil:
		end.Result, end.Found = nil, nil
	}
	s.conclude(end)
}

// conclude hands the run's end to the write queue; the sweep is over once that is on disk.
func (s *Session) conclude(end Ending) {
	j := s.job
	j.ended = &end
	s.archive.add(writing{run: j.run, end: &end, done: s.whenStored(j, end)})
}

// whenStored is what happens once the end of a run is stored.
func (s *Session) whenStored(j *job, end Ending) func() {
	n := j.points.n
	return func() {
		// when the daemon stops, too
		s.o.Log.Info(j.kind+" ended", "run", j.run, "outcome", end.Outcome, "readings", n, "why", end.Why)
		// An error here means that the session has stopped: it has no readers then.
		_ = s.ask(context.Background(), func() { s.concluded(j, end) })
	}
}

func (s *Session) concluded(j *job, end Ending) {
	s.counts[api.RunKey{Kind: j.kind, Outcome: string(end.Outcome)}]++
	if end.Result != nil && end.Outcome == api.Finished {
		if j.kind == api.Sweeping {
			s.last = &api.LastRun{Run: j.run, At: end.At, Started: j.started, Result: *end.Result}
		}
		if s.job == j { // one that was set aside did so then
			s.zeroPair(j.run, j.kind, end.Result, s.leftAt(j))
		}
	}
	if s.job == j {
		s.job = nil
	}
	s.stored(j)
}

// leftAt is where the last station left the arm, in degrees; nil where an encoder says that, or there were no stations.
func (s *Session) leftAt(j *job) *float64 {
	a := j.stations()
	if s.encoder != nil || a == nil {
		return nil
	}
	deg, _, _ := a.Station(a.Len() - 1)
	return &deg
}
