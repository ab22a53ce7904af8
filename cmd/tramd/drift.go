package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"time"

	"tramd/cmd/tramd/internal/assembly"
	"tramd/cmd/tramd/internal/config"
	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/drift"
	"tramd/sweep/units"
)

type driftCmd struct {
	configFlag
	File        string  `arg:"" optional:"" help:"A history of checks: CSV with the header time,tilt_mm_per_m,tilt_u_mm_per_m,nod_mm_per_m,nod_u_mm_per_m,spindle_hours,event and, where it is known, temperature_c; - for standard input. Without it: the record of the configuration."`
	Tolerance   string  `placeholder:"MM/MM" help:"Largest lean allowed on either axis: 0.02/300, 0.1 mrad, 20 arcsec."`
	Reliability float64 `default:"0.95" help:"Chance that the machine is still within its tolerance at the next check."`
	First       float64 `placeholder:"DAYS" help:"Interval until the next check where the record bears no date of its own (7, or that of the configuration)."`
	AtMost      float64 `placeholder:"DAYS" help:"Longest interval between checks (365, or that of the configuration)."`
	Of          string  `placeholder:"NAME" help:"Instead of the sweeps: the checks of this traverse, bar or square, or of a relation such as travel_to_table."`
	Kind        string  `enum:",traverse,bar,travel,cross" default:"" help:"With --of, where a name was measured in several ways."`
	JSON        bool    `name:"json" help:"Print one JSON object: what would have been said at each check, and what follows."`
}

func (c *driftCmd) Run(e *env) error {
	h, err := c.history(e)
	if err != nil {
		return err
	}
	if c.First > 0 {
		h.Plan.First = c.First
	}
	if c.AtMost > 0 {
		h.Plan.AtMost = c.AtMost
	}
	var a *drift.Answer
	if c.JSON {
		a, err = drift.WorkJSON(e.out, h, c.Reliability)
	} else if a, err = drift.Work(h, c.Reliability); err == nil {
		err = printDrift(e.text(), a, c.Reliability, time.Now())
	}
	if err != nil {
		return err
	}
	return verdictStatus(a.Verdict)
}

func (c *driftCmd) history(e *env) (*drift.History, error) {
	if !(c.Reliability >= 0.5 && c.Reliability < 1) {
		return nil, usageError{fmt.Errorf("--reliability must be at least 0.5 and less than 1; 0.95 is usual")}
	}
	for flag, days := range map[string]float64{"--first": c.First, "--at-most": c.AtMost} {
		if !(days >= 0 && days <= 36500) {
			return nil, usageError{fmt.Errorf("%s must be a number of days, 36500 at most", flag)}
		}
	}
	tol, err := units.ParseTolerance(c.Tolerance)
	if err != nil {
		return nil, usageError{err}
	}
	switch {
	case c.Of != "" && c.File != "":
		return nil, usageError{fmt.Errorf("--of reads the record: leave the file away")}
	case c.Of != "":
		return c.ofAssembly(e, tol)
	case c.Config != "" && c.File != "":
		return nil, usageError{fmt.Errorf("a file and --config: name one of the two")}
	case c.File == "":
		h, _, err := c.recorded(e, tol)
		if errors.Is(err, errNoConfig) {
			err = usageError{fmt.Errorf("no history: name a CSV file, or - for standard input; and %w", err)}
		}
		return h, err
	}
	in := e.in
	if c.File != "-" {
		f, err := os.Open(c.File)
		if err != nil {
			return nil, err
		}
		defer f.Close()
		in = f
	}
	h, err := drift.ReadCSV(in, tol.Limit.MMPerM())
	if err != nil {
		return nil, fmt.Errorf("%s: %w", c.File, err)
	}
	return h, nil
}

// ofAssembly returns the history of one measurement of the assembly.
func (c *driftCmd) ofAssembly(e *env, tol units.Tolerance) (*drift.History, error) {
	cfg, s, err := c.openRecord(e)
	if err != nil {
		return nil, err
	}
	defer s.Close()
	h, what, err := assembly.History(e.ctx, s, cfg, c.Of, c.Kind)
	if err != nil {
		return nil, err
	}
	if !c.JSON {
		fmt.Fprintln(e.out, what)
	}
	if tol.Given() {
		h.Judge(tol.Limit.MMPerM())
	}
	return h, nil
}

// recorded returns the history of the configuration's machine from its record. A tolerance that is given takes the
// place of those the checks were taken with.
func (f configFlag) recorded(e *env, tol units.Tolerance) (*drift.History, *config.Config, error) {
	cfg, s, err := f.openRecord(e)
	if err != nil {
		return nil, nil, err
	}
	defer s.Close()
	h, _, err := s.History(e.ctx, cfg.Machine.Name, store.Mark{})
	if err != nil {
		return nil, nil, err
	}
	h.Plan = cfg.Check.Intervals()
	if tol.Given() {
		h.Judge(tol.Limit.MMPerM())
	}
	return h, cfg, nil
}

// printDrift writes the level, rate, alarms and next date of a history, and at now how long a check is overdue.
func printDrift(w io.Writer, a *drift.Answer, reliability float64, now time.Time) error {
	p := &printer{w: w}
	if n := len(a.Rows); n > 0 {
		p.printf("%d checks, %s to %s\n", n, day(a.Rows[0].Time), day(a.Rows[n-1].Time))
	} else {
		p.printf("no check\n")
	}
	byHeat := false
	// Checks of one sitting show no rate a day: what would be printed is what was held possible before any check.
	ratable := len(a.Rows) > 1 && a.Rows[len(a.Rows)-1].Time.Sub(a.Rows[0].Time) >= 24*time.Hour
	for i, x := range a.Tracker.Now() {
		if x == nil {
			p.printf("  %-5s not measured since the last event\n", drift.Axes[i])
			continue
		}
		p.printf("  %-5s %+8.4f mm/m", drift.Axes[i], x.Level)
		if !math.IsNaN(x.U) {
			p.printf(" ± %.4f (95 %%)", 1.96*x.U)
			if ratable {
				p.printf(", moving by %+.6f ± %.6f mm/m per day", x.Rate, 1.96*x.RateU)
			}
		}
		if s := a.Scatter[i]; !math.IsNaN(s) {
			p.printf(", clamping scatters by %.4f mm/m", s)
		}
		if rate, u, ok := a.RatePer100Hours(i); ok {
			p.printf(", by the spindle's hours: %+.5f ± %.5f mm/m per 100 h", rate, 1.96*u)
		}
		if perK, u, ok := a.PerKelvin(i); ok {
			p.printf(", leans with the temperature by %+.5f ± %.5f mm/m per kelvin", perK, 1.96*u)
			byHeat = true
		}
		p.printf("\n")
	}
	if byHeat {
		p.printf(
			"  what the temperature explains is taken off: levels are those at %.1f °C, the median of those recorded\n",
			a.AtC)
	}
	for _, al := range a.Alarms {
		p.printf("  alarm: %s [%s]\n", al.Text(), al.Kind)
	}
	if a.Verdict != sweep.None {
		p.printf("  verdict: %s\n", a.Verdict)
	}
	if n := a.Forecast.Next; n != nil {
		switch {
		case n.Days == 0:
			p.printf("  next check due since %s", day(n.Time))
		case n.ByHours:
			p.printf("  next check %.0f spindle hours after the last, as now used by %s (%.1f days)", n.SpindleHours,
				day(n.Time), n.Days)
		case !math.IsNaN(n.SpindleHours):
			p.printf("  next check by %s, %.1f days after the last or %.0f spindle hours", day(n.Time), n.Days,
				n.SpindleHours)
		default:
			p.printf("  next check by %s, %.1f days after the last", day(n.Time), n.Days)
		}
		if over := now.Sub(n.Time).Hours() / 24; over >= 1 && n.Days > 0 {
			p.printf(", overdue by %.1f days", over)
		}
		p.printf(": %s\n", n.Basis(reliability))
	}
	if o := a.Forecast.Outside; o != nil {
		until := "to " + day(o.High)
		if o.HighOpen {
			until = "or never"
		}
		p.printf("  expected outside about %s (95 %%: %s %s)\n", day(o.Time), day(o.Low), until)
	}
	if a.Forecast.Why != "" {
		p.printf("  %s\n", a.Forecast.Why)
	}
	for _, n := range a.Warnings {
		p.printf("  note: %s [%s]\n", n.Text, n.Code)
	}
	if n := len(a.Rows); n > 0 {
		if ahead := a.Rows[n-1].Time.Sub(now).Hours() / 24; ahead >= 1 {
			p.printf(
				"  note: the last check is dated %.0f days from now: the clock that dated it was wrong, or this computer's is; "+
					"correct it before you rely on a date [clock]\n", ahead)
		}
	}
	return p.err
}

func day(t time.Time) string { return t.Local().Format("2006-01-02 15:04 MST") }

// printer remembers the first error, so that a page of text reads like one.
type printer struct {
	w   io.Writer
	err error
}

func (p *printer) printf(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format, args...)
	}
}
