package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"time"

	"tramd/cmd/tramd/internal/config"
	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/advice"
)

// demoPerson squares the simulated machine, and makes way for a visitor who does it from the page.
type demoPerson struct {
	e        *env
	m        *demoMachine
	rng      *rand.Rand
	patience time.Duration // how long the visitor has for a move
	packed   float64       // shims behind the lower bolts, mm; negative: behind the upper ones
	sweeps   []demoSweep
	below    *demoAssembly
}

// work sweeps, adjusts and sweeps again, until the time is up.
func (p *demoPerson) work(ctx context.Context, seconds float64) error {
	if err := p.below.below(ctx); err != nil {
		return err
	}
	began := time.Now()
	for n := 0; ; n++ {
		run, err := takeSweep(ctx, p.m.client, 1, "adjust", nil, config.SourceEncoder, nil, p.e.err)
		if err != nil {
			return err
		}
		if run.Outcome != store.Finished || run.Result == nil {
			if ctx.Err() != nil {
				return nil
			}
			return fmt.Errorf("run %d %s: %s", run.ID, run.Outcome, run.Why)
		}
		p.keep(run)
		if run.Result.Verdict == sweep.Within && !p.below.closed {
			if err := p.below.close(ctx); err != nil {
				return err
			}
		}
		if seconds > 0 && n >= 1 && time.Since(began).Seconds() > seconds-10 {
			return nil
		}
		if err := p.next(ctx, run); err != nil || ctx.Err() != nil {
			return err
		}
	}
}

func (p *demoPerson) keep(run store.Run) {
	t := p.m.machine.Truth()
	s := demoSweep{Run: run.ID, Truth: demoTruth{t.TiltMMPerM, t.NodMMPerM}, Result: *run.Result}
	s.Agrees = agrees(run.Result.Tilt, t.TiltMMPerM) && agrees(run.Result.Nod, t.NodMMPerM)
	p.sweeps = append(p.sweeps, s)
	fmt.Fprintf(p.e.err, "run %d  tilt %s, truth %+.4f · nod %s, truth %+.4f mm/m · %s\n", run.ID,
		figure(run.Result.Tilt), t.TiltMMPerM, figure(run.Result.Nod), t.NodMMPerM, run.Result.Verdict)
}

// next waits for the visitor to move something; after a while it does what the advice says. Once the machine is true it
// is knocked, so that there is something to square again.
func (p *demoPerson) next(ctx context.Context, run store.Run) error {
	a, err := p.m.client.Advice(ctx)
	if err != nil {
		return err
	}
	fmt.Fprintf(p.e.err, "%s\n", sayMoves(a))
	moves, err := p.visitor(ctx)
	if err != nil || ctx.Err() != nil {
		return err
	}
	if moves != nil {
		fmt.Fprintln(p.e.err, "The visitor moved something.")
		p.move(moves)
		return nil
	}
	if run.Result.Verdict == sweep.Within || len(a.Moves) == 0 {
		return p.knock(ctx)
	}
	moves = map[string]float64{}
	for _, m := range a.Moves {
		moves[m.Adjuster] += m.By
	}
	p.move(moves)
	return p.m.client.LogEvent(ctx, "adjusted", sayMoves(a), moves)
}

// visitor waits for a move that somebody logs on the page, and returns it; nil when none came in time.
func (p *demoPerson) visitor(ctx context.Context) (map[string]float64, error) {
	newest, err := p.m.client.Events(ctx, 1)
	if err != nil {
		return nil, err
	}
	last := int64(0)
	if len(newest) > 0 {
		last = newest[0].ID
	}
	patience := time.After(p.patience)
	tick := time.NewTicker(300 * time.Millisecond)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil, nil
		case <-patience:
			return nil, nil
		case <-tick.C:
		}
		events, err := p.m.client.Events(ctx, 10)
		if err != nil {
			return nil, err
		}
		for _, x := range events {
			if x.ID > last && len(x.Moved) > 0 {
				return x.Moved, nil
			}
		}
	}
}

// move turns the simulated head by what was moved.
func (p *demoPerson) move(by map[string]float64) {
	p.packed += by["lower shim"]
	p.m.machine.Adjust(demoSwing*by["swing"], demoShim*by["lower shim"])
}

// knock puts the machine out of square, so that there is something to do.
func (p *demoPerson) knock(ctx context.Context) error {
	p.m.machine.Adjust(knocked(p.rng, p.packed))
	text := "linnet was knocked out of square, to begin again"
	fmt.Fprintln(p.e.err, text)
	return p.m.client.LogEvent(ctx, "crashed", text, nil)
}

// knocked returns how far a knock turns the head, mm/m, by chance. It never asks for more shims than there are: where
// some are packed, it goes the way in which they come out again.
func knocked(rng *rand.Rand, packed float64) (tilt, nod float64) {
	side := func() float64 { return float64(2*rng.IntN(2) - 1) }
	tilt, nod = side()*(0.2+0.4*rng.Float64()), 0.2+0.4*rng.Float64()
	switch {
	case packed < 0:
		return tilt, -nod
	case packed > 0:
		return tilt, nod
	}
	return tilt, side() * nod
}

// sayMoves returns the advice in words.
func sayMoves(a advice.Answer) string {
	if len(a.Moves) == 0 {
		return "Nothing to move."
	}
	text := ""
	for i, m := range a.Moves {
		if i > 0 {
			text += " "
		}
		text += m.Say
	}
	return text
}
