package main

import (
	"context"
	"fmt"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/assembly"
	"tramd/cmd/tramd/internal/client"
	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/session"
	"tramd/store"
	"tramd/sweep"
)

// attended are the flags of a measurement that a person takes place by place.
type attended struct {
	configFlag
	Name        string   `arg:"" optional:"" help:"Its name in the configuration; may be left out where there is only one."`
	Purpose     string   `enum:"check,adjust" default:"check" help:"check: does it still hold; adjust: something is being moved."`
	Typed       bool     `help:"Read a plain dial, and type each reading (standard input, one a line)."`
	Temperature *float64 `name:"temperature" placeholder:"C" help:"The machine's temperature in degrees Celsius, where no sensor tells it."`
	JSON        bool     `name:"json" help:"Print the result as one JSON object."`
}

type (
	traverseCmd struct {
		attended
		DryRun bool `help:"Where a motor moves the axis: print every command that would be sent, and move nothing."`
	}
	barCmd    struct{ attended }
	travelCmd struct{ attended }
)

func (c *traverseCmd) Run(e *env) error {
	const heavy = "Granite and plates are heavy: two people or a hoist. Lay the edge down where it cannot slide off."
	cfg, err := c.load(e)
	if err != nil {
		return err
	}
	plan, err := assembly.Plan(cfg, assembly.Wanted{Kind: sweep.KindTraverse, Name: c.Name, Typed: c.Typed})
	switch {
	case err == nil && plan.Steps != nil:
		fmt.Fprint(e.err, heavy, "\n")
		return c.stepped(e, cfg, plan)
	case c.DryRun && err != nil:
		return err
	case c.DryRun:
		return fmt.Errorf("a person goes to the places of %s: no command is sent to any motor", plan.Subject)
	}
	return c.take(e, sweep.KindTraverse, heavy)
}

// stepped has a motor move the axis from place to place: armed, and started by hand.
func (c *traverseCmd) stepped(e *env, cfg *config.Config, plan session.Measurement) error {
	if err := judgeTyped(c.Temperature); err != nil {
		return err
	}
	printCautions(e.err, session.StepCautions(plan.Subject))
	if c.DryRun {
		return dryRun(e.out, *plan.Steps)
	}
	cl := client.New(cfg.Control.Socket)
	defer cl.Close()
	run, err := twoActs(e, cl, motionOf{
		machine: cfg.Machine.Name, source: config.SourceProgram,
		arm: func() (api.Armed, error) { return cl.ArmSteps(e.ctx, sweep.KindTraverse, plan.Subject) },
		start: func(ctx context.Context, key string) (int64, error) {
			return cl.StartSteps(ctx, key, sweep.KindTraverse, plan.Subject, c.Purpose, c.Temperature)
		},
	})
	if err != nil {
		return err
	}
	return reportMeasured(e, run, c.JSON)
}

func (c *barCmd) Run(e *env) error {
	return c.take(e, sweep.KindBar,
		"Turn the spindle by hand only. Mark its nose 0, 90, 180, 270 degrees, counter-clockwise seen from above.")
}

func (c *travelCmd) Run(e *env) error {
	return c.take(e, sweep.KindTravel,
		"Keep clear of the head while it moves. A head that is loosened drops: support it first.")
}

// take has the daemon take one measurement, shows it live, and prints what it says.
func (c *attended) take(e *env, kind, caution string) error {
	cfg, err := c.load(e)
	if err != nil {
		return err
	}
	if err := judgeTyped(c.Temperature); err != nil {
		return err
	}
	cl := client.New(cfg.Control.Socket)
	defer cl.Close()
	fmt.Fprint(e.err, cautions, caution, "\n")
	id, err := cl.StartMeasurement(e.ctx, kind, c.Name, c.Purpose, c.Typed, c.Temperature)
	if err != nil {
		return err
	}
	source := config.SourceStations
	if plan, err := assembly.Plan(cfg, assembly.Wanted{Kind: kind, Name: c.Name}); err == nil && plan.Along != "" {
		source = plan.Along
	}
	if c.Typed || cfg.Angle.Source == config.SourceTyped {
		source = config.SourceTyped
	}
	if source == config.PositionFeed {
		fmt.Fprintln(e.err, "Keep clear of the axis while the machine moves it, and stay at the machine's own stop.")
	}
	run, err := watchRun(e.ctx, cl, id, source, e.in, e.units.Writer(e.err))
	if err != nil {
		return err
	}
	return reportMeasured(e, run, c.JSON)
}

func reportMeasured(e *env, run store.Run, asJSON bool) error {
	r, err := otherResult(run)
	if err != nil {
		return err
	}
	if r == nil {
		return fmt.Errorf("run %d %s: %s (%d readings are kept)", run.ID, run.Outcome, run.Why, run.Readings)
	}
	if asJSON {
		err = printJSON(e.out, "run", run.ID, r.Value())
	} else {
		err = printOther(e.text(), fmt.Sprintf("run %d, %s, %s %s", run.ID, run.Setup.Machine, run.Kind, run.Subject),
			*r)
	}
	if err != nil {
		return err
	}
	if run.Outcome != store.Finished {
		return cutShort(run)
	}
	return verdictStatus(r.Verdict())
}
