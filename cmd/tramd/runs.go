package main

import (
	"encoding/json"
	"fmt"
	"strings"
	"text/tabwriter"

	"tramd/cmd/tramd/internal/assembly"
	"tramd/store"
	"tramd/sweep"
)

// storeFlag is a configFlag for a command that reads the record.
type storeFlag struct{ configFlag }

func (f storeFlag) open(e *env) (*store.Store, error) {
	_, s, err := f.openRecord(e)
	return s, err
}

// withRun gives do one stored run, and the record to read more of it from.
func (f storeFlag) withRun(e *env, id int64, do func(*store.Store, store.Run) error) error {
	s, err := f.open(e)
	if err != nil {
		return err
	}
	defer s.Close()
	r, err := s.Run(e.ctx, id)
	if err != nil {
		return err
	}
	return do(s, r)
}

type runsCmd struct {
	storeFlag
	Limit  int   `default:"20" help:"How many."`
	Before int64 `placeholder:"ID" help:"Only runs before this one."`
	JSON   bool  `name:"json" help:"Print one JSON object a line."`
}

func (c *runsCmd) Run(e *env) error {
	if c.Limit < 1 || c.Limit > 10000 || c.Before < 0 {
		return usageError{fmt.Errorf("--limit must be 1 to 10000 and --before a run's number")}
	}
	s, err := c.open(e)
	if err != nil {
		return err
	}
	defer s.Close()
	runs, err := s.Runs(e.ctx, c.Before, c.Limit)
	if err != nil {
		return err
	}
	if c.JSON {
		out := json.NewEncoder(e.out)
		for _, r := range runs {
			if err := out.Encode(whole(r)); err != nil {
				return err
			}
		}
		return nil
	}
	w := tabwriter.NewWriter(e.out, 0, 0, 2, ' ', 0)
	fmt.Fprintf(w, "run\tstarted\tmachine\tkind\toutcome\ttilt %[1]s\tnod %[1]s\tverdict\treadings\tname\n",
		e.units.Lean())
	for _, r := range runs {
		tilt, nod, verdict := "-", "-", "-"
		if r.Result != nil {
			tilt, nod, verdict = e.units.Figures(figure(r.Result.Tilt)), e.units.Figures(figure(r.Result.Nod)),
				string(r.Result.Verdict)
			if l := r.Result.SizeOnly(); l != nil {
				tilt, nod = e.units.Figures(fmt.Sprintf("lean %.4f ± %.4f", l.Slope.MMPerM(), l.Expanded.MMPerM())),
					l.Direction()
			}
		}
		if other, err := otherResult(r); err != nil {
			return err
		} else if other != nil {
			tilt, nod = otherFigures(*other)
			verdict = string(other.Verdict())
		}
		fmt.Fprintf(w, "%d\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%d\t%s\n", r.ID, clockTime(r.StartedAt, r.ClockSet),
			r.Setup.Machine, r.Kind,
			outcome(r), tilt, nod, verdict, r.Readings, r.Subject)
	}
	return w.Flush()
}

func figure(a *sweep.Axis) string {
	if a == nil {
		return "-"
	}
	return fmt.Sprintf("%+.4f ± %.4f", a.Slope.MMPerM(), a.Expanded.MMPerM())
}

func outcome(r store.Run) string {
	if r.Outcome == "" {
		return "going on"
	}
	return string(r.Outcome)
}

type showCmd struct {
	storeFlag
	ID     int64 `arg:"" help:"The run."`
	Budget bool  `help:"Say where the uncertainty comes from."`
	JSON   bool  `name:"json" help:"Print the whole run as JSON."`
}

func (c *showCmd) Run(e *env) error {
	return c.withRun(e, c.ID, func(_ *store.Store, r store.Run) error {
		if err := c.show(e, r); err != nil {
			return err
		}
		other, err := otherResult(r)
		if err != nil {
			return err
		}
		if other != nil {
			return verdictStatus(other.Verdict())
		}
		if r.Result == nil {
			return nil
		}
		return verdictStatus(r.Result.Verdict)
	})
}

func (c *showCmd) show(e *env, r store.Run) error {
	if c.JSON {
		out := json.NewEncoder(e.out)
		out.SetIndent("", "  ")
		return out.Encode(whole(r))
	}
	what := r.Setup.Machine
	if assembly.Knows(r.Kind) {
		what = strings.TrimSpace(fmt.Sprintf("%s, %s %s", what, r.Kind, r.Subject))
	}
	title := fmt.Sprintf("run %d, %s, %s, %s", r.ID, what, clockTime(r.StartedAt, r.ClockSet), outcome(r))
	if r.SpindleHours != nil {
		title += fmt.Sprintf(", at %.1f spindle hours", *r.SpindleHours)
	}
	if r.TemperatureC != nil {
		title += fmt.Sprintf(", at %.1f °C", *r.TemperatureC)
	}
	if other, err := otherResult(r); err != nil {
		return err
	} else if other != nil {
		if r.Missing > 0 {
			title += fmt.Sprintf(", %d readings lost", r.Missing)
		}
		return printOther(e.text(), title, *other)
	}
	if r.Result != nil {
		err := printResult(e.text(), title, *r.Result, r.Setup.Tolerance)
		if err == nil && c.Budget {
			err = printBudget(e.text(), *r.Result)
		}
		if err == nil {
			err = c.finish(e, *r.Result)
		}
		if err == nil {
			_, err = fmt.Fprint(e.text(), r.Log)
		}
		return err
	}
	if r.Why != "" {
		title += ": " + r.Why
	}
	_, err := fmt.Fprintf(e.text(), "%s\n  %d readings\n%s", title, r.Readings, r.Log)
	return err
}

// finish says what the lean leaves on the work, with the cutters of today's configuration.
func (c *showCmd) finish(e *env, r sweep.Result) error {
	cfg, err := c.load(e)
	if err != nil {
		return err
	}
	return printFinish(e.text(), cfg.Tools(), r)
}

// whole is a run as it is written in JSON, with the result of its kind.
func whole(r store.Run) any {
	if r.Result == nil && r.Raw != nil {
		return store.Line{Run: r, Result: r.Raw}
	}
	return r
}

// otherResult returns the result of a measurement that is no sweep; nil where there is none.
func otherResult(r store.Run) (*assembly.Result, error) {
	if !assembly.Knows(r.Kind) || r.Raw == nil {
		return nil, nil
	}
	out, err := assembly.Decode(r.Kind, r.Raw)
	if err != nil {
		return nil, fmt.Errorf("run %d: %w; `tramd refit --keep %d` makes its result again from the readings",
			r.ID, err, r.ID)
	}
	return &out, nil
}

// otherFigures returns what a list shows in the columns of tilt and nod.
func otherFigures(r assembly.Result) (tilt, nod string) {
	switch {
	case r.Traverse != nil:
		if r.Traverse.Slope == nil {
			return "-", "-"
		}
		return "slope " + figure(r.Traverse.Slope), "-"
	case r.Bar != nil:
		most := 0.0
		for _, h := range r.Bar.Heights {
			most = max(most, h.RunOut)
		}
		return fmt.Sprintf("run-out %.4f mm", most), "-"
	}
	return figure(r.Travel.Tilt), figure(r.Travel.Nod)
}
