package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/client"
	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/tui"
	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/drift"
)

type sweepCmd struct {
	configFlag
	Turns       int      `placeholder:"N" help:"Turns of the spindle (default: sweep.turns of the configuration)."`
	Purpose     string   `enum:"check,adjust" default:"check" help:"check: does it still hold; adjust: something is being moved."`
	Temperature *float64 `name:"temperature" placeholder:"C" help:"The machine's temperature in degrees Celsius, where no sensor tells it; stored with the run, for the drift."`
	Half        string   `name:"half-turn" placeholder:"tilt|nod" enum:"tilt,nod," default:"" help:"Zero two opposite indicators on a bar by half a turn by hand: along left-right (tilt) or front-back (nod). The pair then reads lean without turning."`
	SetZero     bool     `name:"set-zero" help:"Show where 0 degrees is first, though a zero is known: after the encoder was mounted again."`
	JSON        bool     `name:"json" help:"Print the result as one JSON object."`
}

func (c *sweepCmd) Run(e *env) error {
	cfg, err := c.load(e)
	if err != nil {
		return err
	}
	if err := judgeTyped(c.Temperature); err != nil {
		return err
	}
	if c.Turns == 0 {
		c.Turns = cfg.Sweep.Turns
	}
	if c.Turns < 1 || c.Turns > sweep.MaxTurns {
		return usageError{fmt.Errorf("--turns %d: give 1 to %d", c.Turns, sweep.MaxTurns)}
	}
	cl := client.New(cfg.Control.Socket)
	defer cl.Close()
	fmt.Fprint(e.err, cautions)
	take := func() (store.Run, error) {
		return takeSweep(e.ctx, cl, c.Turns, c.Purpose, c.Temperature, cfg.Angle.Source, e.in, e.units.Writer(e.err))
	}
	if c.Half != "" {
		take = func() (store.Run, error) { return takeHalfTurn(e, cl, c.Half, cfg.Angle.Source) }
	}
	if cfg.Angle.Source == config.SourceEncoder || c.SetZero {
		if err := establishZero(e, cl, c.SetZero); err != nil {
			return err
		}
	}
	run, err := take()
	if err != nil {
		return err
	}
	return reportRun(e, run, c.JSON)
}

// judgeTyped refuses a temperature that no machine has.
func judgeTyped(celsius *float64) error {
	if celsius == nil {
		return nil
	}
	if err := drift.JudgeTemperature(*celsius); err != nil {
		return usageError{fmt.Errorf("--temperature: %w", err)}
	}
	return nil
}

// takeHalfTurn zeroes a pair. Its two readings are steered as stations are, whatever tells the angle of a sweep.
func takeHalfTurn(e *env, cl *client.Client, axis, source string) (store.Run, error) {
	id, err := cl.StartHalfTurn(e.ctx, axis)
	if err != nil {
		return store.Run{}, err
	}
	if source != config.SourceTyped {
		source = config.SourceStations
	}
	return watchRun(e.ctx, cl, id, source, e.in, e.units.Writer(e.err))
}

// takeSweep starts a sweep, shows it until it has ended, and gives the stored run.
func takeSweep(ctx context.Context, cl *client.Client, turns int, purpose string, celsius *float64, source string,
	in io.Reader, progress io.Writer) (store.Run, error) {
	id, err := cl.StartSweepAt(ctx, turns, purpose, celsius)
	if err != nil {
		return store.Run{}, err
	}
	return watchRun(ctx, cl, id, source, in, progress)
}

// watchRun shows a sweep until it has ended, and gives the stored run.
func watchRun(ctx context.Context, cl *client.Client, id int64, source string, in io.Reader, progress io.Writer) (
	store.Run, error) {
	watch, stop := context.WithCancel(ctx)
	defer stop()
	show := tui.NewProgress(progress)
	restore := tui.Steer(watch, source, cl, id, in, show)
	defer restore()
	seen, others := false, 0
	var last api.SweepState
	err := cl.Live(watch, func(s *api.Snapshot) bool {
		if s.Sweep.Run != id {
			// The first states may still be from before the start.
			others++
			return !seen && others < 10
		}
		seen, last = true, s.Sweep
		show.State(s)
		return true
	})
	show.End()
	// Whatever became of us, the run must not be left open.
	after, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
	defer cancel()
	if ctx.Err() != nil {
		// It may have ended on its own in this very moment; what is stored says which.
		_ = cl.AbandonSweep(after, id)
	} else if err != nil {
		if source == config.SourceProgram { // the arm may not be watched any more
			_ = cl.AbandonSweep(after, id)
		}
		return store.Run{}, ofGone(err, id, last)
	}
	run, err := endedRun(after, cl, id)
	return run, ofGone(err, id, last)
}

// ofGone adds to the news that the daemon went away what was kept of the run, and how it is seen.
func ofGone(err error, run int64, last api.SweepState) error {
	if !errors.Is(err, client.ErrGone) && !errors.Is(err, client.ErrNoDaemon) {
		return err
	}
	return fmt.Errorf(
		"the daemon went away during run %d. At least %d of its %d readings were on disk and are kept; what came in the last "+
			"second may be missing. When the daemon runs again (tramd run, or its service), see them with `tramd show %d`, and begin a new sweep",
		run, last.Stored, last.Readings, run)
}

// endedRun waits until the run's end is in the store.
func endedRun(ctx context.Context, cl *client.Client, id int64) (store.Run, error) {
	for {
		r, err := cl.Run(ctx, id)
		if err != nil || r.Outcome != "" {
			return r, err
		}
		select {
		case <-ctx.Done():
			return r, fmt.Errorf("run %d has not ended yet; see `tramd show %d`", id, id)
		case <-time.After(20 * time.Millisecond):
		}
	}
}

// cutShort returns the error of a run that has a result but was not finished and says why: the arm may
// stand on its way.
func cutShort(run store.Run) error {
	return fmt.Errorf("run %d %s: %s (the result is of its %d readings)", run.ID, run.Outcome, run.Why, run.Readings)
}

func reportRun(e *env, run store.Run, asJSON bool) error {
	if run.Result == nil && run.Unstored {
		return fmt.Errorf(
			"run %d %s: %s (its %d readings are in memory alone: mend the disk before the daemon is stopped)", run.ID,
			run.Outcome, run.Why, run.Readings)
	}
	if run.Result == nil {
		return fmt.Errorf("run %d %s: %s (%d readings are kept)", run.ID, run.Outcome, run.Why, run.Readings)
	}
	if run.Unstored {
		const text = "it is not stored: the daemon holds it in memory and tries again each second; mend the disk (see the page, or tramd doctor) before the daemon is stopped"
		fmt.Fprintf(e.err, "Caution: run %d has its result, but %s.\n", run.ID, text)
		run.Result.Warnings = append(run.Result.Warnings, sweep.Warning{Code: "not_stored", Text: text})
	}
	if asJSON {
		if err := printJSON(e.out, "run", run.ID, *run.Result); err != nil {
			return err
		}
	} else if err := printResult(e.text(), fmt.Sprintf("run %d, %s", run.ID, run.Setup.Machine), *run.Result,
		run.Setup.Tolerance); err != nil {
		return err
	}
	if run.Outcome != store.Finished {
		return cutShort(run)
	}
	if v := run.Result.Verdict; !asJSON && (v == sweep.Outside || v == sweep.Undecided) {
		fmt.Fprintln(e.err, "next: tramd advise --config FILE")
	}
	return verdictStatus(run.Result.Verdict)
}
