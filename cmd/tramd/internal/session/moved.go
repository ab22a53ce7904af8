package session

import (
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/interlock"
	"tramd/cmd/tramd/internal/motion"
)

// moved is the axis of a run that a program moves, the arm of a sweep above all. The run and the axis are two things:
// the run has ended when the axis stands.
type moved struct {
	runner *motion.Runner
	permit *interlock.Permit
	says   string
	over   bool    // the arm stands, or nothing more can be done about it
	asked  *ending // how the run is to end once the arm stands; nil: as the program ends
}

// ending is how a run is to end.
type ending struct {
	outcome api.Outcome
	why     string
}

// stopArm has the arm stopped; the run ends when it stands. Asked again, it stops a retract too.
func (s *Session) stopArm(j *job, o api.Outcome, why string) {
	if j.motion.asked == nil {
		j.motion.asked = &ending{o, why}
	}
	j.phase = api.PhaseStopping
	j.motion.runner.Stop(why)
}

// arrived takes it that the arm stands at a station.
func (s *Session) arrived(j *job) {
	if s.job == j && j.phase == api.PhaseTurning {
		j.stations().Arrive()
		j.movedAt = time.Now()
	}
}

// movesOn takes what the arm does.
func (s *Session) movesOn(j *job, stage motion.Stage, text string) {
	if s.job != j || j.motion.over {
		return
	}
	j.motion.says = text
	switch {
	case stage == motion.Stopping:
		j.phase = api.PhaseStopping
	case stage == motion.Returning && j.phase == api.PhaseTurning:
		j.phase = api.PhaseReturning
		j.movedAt = time.Now()
	}
}

// motionEnded takes the end of the program, and with it ends the run. With a reason the arm was stopped.
func (s *Session) motionEnded(j *job, why string, asked bool) {
	if s.job != j || j.motion.over {
		return
	}
	j.motion.over = true
	end := ending{api.Finished, ""}
	switch a := j.motion.asked; {
	case why == "": // so every station was taken, whatever was asked in the last moment
		s.o.Log.Info("the stepped program has ended", "run", j.run)
	case a != nil:
		end = ending{a.outcome, why}
	case asked:
		end = ending{api.Abandoned, why}
	default:
		end = ending{api.Failed, why}
	}
	if why != "" {
		s.o.Log.Error("the motion was stopped", "run", j.run, "why", why)
	}
	s.end(end.outcome, end.why)
}
