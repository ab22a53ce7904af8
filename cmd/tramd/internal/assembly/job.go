package assembly

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/config"
	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/stack"
)

// How far a step has come.
const (
	StepAhead     = "to do"
	StepDone      = "done"
	StepOutside   = "outside"
	StepUndecided = "undecided"
	StepUpset     = "upset" // something was moved after it that bears on it
)

// away is the time without a measurement after which the next one begins a new job.
const away = 7 * 24 * time.Hour

// measured is one stored measurement of a step.
type measured struct {
	run     store.Run
	figures []api.Figure
	verdict sweep.Verdict
}

// JobOf returns how far the job has come, from the record.
func JobOf(ctx context.Context, s *store.Store, cfg *config.Config) (*api.Job, error) {
	job := &api.Job{Machine: cfg.Machine.Name}
	steps := cfg.Steps()
	found := make([][]measured, len(steps))
	for i, step := range steps {
		var err error
		if found[i], err = measurements(ctx, s, cfg, step); err != nil {
			return nil, err
		}
	}
	begun := beginning(found)
	events, err := s.Events(ctx, mostRuns)
	if err != nil {
		return nil, err
	}
	for i, step := range steps {
		st := api.Step{Name: step.Name, Kind: step.Kind, Of: step.Of, Do: step.Do, State: StepAhead,
			Verdict: sweep.None, Command: command(step)}
		if m := cfg.Measured(step.Kind, step.Of); m != nil {
			st.Moves = len(m.Adjusters) > 0
		}
		st.Stepped = step.Kind == sweep.KindTraverse &&
			slices.ContainsFunc(cfg.Traverses, func(t config.Traverse) bool {
				return t.Name == step.Of && cfg.Stepped(&t)
			})
		if n := len(found[i]); n > 0 {
			last := found[i][n-1]
			st.Run, st.At, st.Now, st.Verdict = last.run.ID, &last.run.StartedAt, last.figures, last.verdict
			first := slices.IndexFunc(found[i], func(m measured) bool { return !m.run.StartedAt.Before(begun) })
			if first >= 0 && first < n-1 {
				st.First, st.Before = found[i][first].run.ID, found[i][first].figures
			}
			st.State = map[sweep.Verdict]string{sweep.Outside: StepOutside,
				sweep.Undecided: StepUndecided}[last.verdict]
			if st.State == "" {
				st.State = StepDone
			}
			if by := upsetBy(cfg, steps, i, last.run.StartedAt, events); by != "" {
				st.State, st.Upset = StepUpset, by
			}
		}
		job.Steps = append(job.Steps, st)
	}
	standings, err := Standings(ctx, s, cfg)
	if err != nil {
		return nil, err
	}
	for i := range job.Steps {
		st := &job.Steps[i]
		for _, x := range standings {
			if x.Name != st.Of || x.Kind != st.Kind && !(x.Kind == sweep.KindCross && st.Kind == sweep.KindTraverse) &&
				!(x.Kind == RunOut && st.Kind == sweep.KindBar) {
				continue
			}
			for _, a := range x.Alarms {
				st.Alarms = append(st.Alarms, a.Text())
			}
			if x.Next != nil && (st.Due == nil || x.Next.Time.Before(*st.Due)) {
				st.Due = &x.Next.Time
			}
		}
	}
	next(job)
	chain, _, err := StackOf(ctx, s, cfg)
	if err == nil && len(chain.Relations) > 0 {
		job.Stack, err = stack.Solve(chain)
	}
	return job, err
}

// next finds the step to do now and says so.
func next(j *api.Job) {
	i := slices.IndexFunc(j.Steps, func(s api.Step) bool { return s.State != StepDone })
	if i < 0 {
		j.Say = "Every step is done and within its tolerance."
		return
	}
	j.Next = &i
	s := j.Steps[i]
	why := map[string]string{StepAhead: "is not measured yet", StepOutside: "is outside its tolerance",
		StepUndecided: "is not decided: measure it better",
		StepUpset:     "was upset: " + s.Upset}[s.State]
	j.Say = fmt.Sprintf("Next, step %d of %d, %s: it %s. ", i+1, len(j.Steps), s.Name, why)
	if s.Do != "" && s.State == StepOutside {
		j.Say += strings.TrimSuffix(s.Do, ".") + ". "
	}
	j.Say += "Measure with `" + s.Command + "`."
}

func command(s config.Step) string {
	if s.Kind == sweep.KindSweep {
		return "tramd sweep"
	}
	name := s.Of
	if strings.ContainsAny(name, " '") {
		name = `"` + name + `"`
	}
	return "tramd " + s.Kind + " " + name
}

// measurements returns the finished runs of a step with a result, oldest first.
func measurements(ctx context.Context, s *store.Store, cfg *config.Config, step config.Step) ([]measured, error) {
	kind := step.Kind
	if cfg.Relation(kind, step.Of) == stack.CrossToTable {
		kind = sweep.KindCross
	}
	runs, err := s.Find(ctx, store.Which{Kind: kind, Subject: step.Of, Limit: mostRuns})
	if err != nil {
		return nil, err
	}
	var out []measured
	for _, run := range runs {
		if run.Outcome != store.Finished || run.Setup.Machine != cfg.Machine.Name || run.Raw == nil &&
			run.Result == nil {
			continue
		}
		m := measured{run: run}
		if run.Result != nil {
			m.figures, m.verdict = SweepFigures(run.Result), run.Result.Verdict
		} else {
			r, err := Decode(kind, run.Raw)
			if err != nil {
				return nil, fmt.Errorf("run %d: %w", run.ID, err)
			}
			m.figures, m.verdict = r.Figures(), r.Verdict()
		}
		out = append(out, m)
	}
	slices.SortStableFunc(out, func(a, b measured) int {
		if c := a.run.StartedAt.Compare(b.run.StartedAt); c != 0 {
			return c
		}
		return int(a.run.ID - b.run.ID)
	})
	return out, nil
}

// beginning returns when the present job began: its measurements follow each other within days.
func beginning(found [][]measured) time.Time {
	var times []time.Time
	for _, ms := range found {
		for _, m := range ms {
			times = append(times, m.run.StartedAt)
		}
	}
	if len(times) == 0 {
		return time.Time{}
	}
	slices.SortFunc(times, time.Time.Compare)
	i := len(times) - 1
	for i > 0 && times[i].Sub(times[i-1]) < away {
		i--
	}
	return times[i]
}

// upsetBy says what happened after a step was measured that bears on it. What is moved at one joint changes all that is
// measured from there up, and nothing below; an event that does not say what was moved bears on everything.
func upsetBy(cfg *config.Config, steps []config.Step, step int, at time.Time, events []store.Event) string {
	for _, e := range slices.Backward(events) { // oldest first: it is the first that upset it
		if e.Undone != nil || e.Damage != "" || !e.At.After(at) {
			continue
		}
		switch e.Kind {
		case "crashed", "serviced", "moved":
			return e.Kind + strings.TrimRight(" "+e.Text, " ")
		case "adjusted":
			if len(e.Moved) == 0 {
				return strings.TrimRight("adjusted "+e.Text, " ")
			}
			var names []string
			for name := range e.Moved {
				if lowest(cfg, steps, name) <= step {
					names = append(names, name)
				}
			}
			if len(names) > 0 {
				slices.Sort(names)
				return strings.Join(names, ", ") + " moved"
			}
		}
	}
	return ""
}

// lowest returns the first step whose measurement an adjuster changes. One that none names moves the head: it bears on
// the last sweep, and on what relates the spindle to the head's travel.
func lowest(cfg *config.Config, steps []config.Step, adjuster string) int {
	head := len(steps)
	for i, s := range steps {
		if m := cfg.Measured(s.Kind, s.Of); m != nil && slices.Contains(m.Adjusters, adjuster) {
			return i
		}
		switch cfg.Relation(s.Kind, s.Of) {
		case stack.SpindleToTable, stack.SpindleToTravel:
			head = min(head, i)
		}
	}
	return head
}
