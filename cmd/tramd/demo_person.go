package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/config"
	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/advice"
)

// demoPerson squares the simulated machine, and makes way for a visitor who does it from the page.
type demoPerson struct {
	e       *env
	m       *demoMachine
	rng     *rand.Rand
	visit   time.Duration // how long the visitor has for a move
	head    *demoHead
	knocked bool // and not swept since
	sweeps  []demoSweep
	below   *demoAssembly
}

// work sweeps, adjusts and sweeps again, until the time is up.
func (p *demoPerson) work(ctx context.Context, seconds float64) error {
	if err := p.below.below(ctx); err != nil {
		return err
	}
	began := time.Now()
	for n := 0; ; n++ {
		// The first sweep of a machine out of square is a check, whose alarm then stands until something is moved.
		purpose := "adjust"
		if n == 0 || p.knocked {
			purpose, p.knocked = "check", false
		}
		run, err := p.sweep(ctx, purpose)
		if err != nil || run.Result == nil {
			return err
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
		if err := p.next(ctx, *run.Result); err != nil || ctx.Err() != nil {
			return err
		}
	}
}

// sweep takes a sweep once the machine is free. A visitor may have begun one, or give this one up: then it is begun
// again. A run without a result means that the demo ends.
func (p *demoPerson) sweep(ctx context.Context, purpose string) (store.Run, error) {
	for failed := 0; ; {
		var id int64
		err := p.whenFree(ctx, func() (err error) { id, err = p.m.client.StartSweep(ctx, 1, purpose); return err })
		if err != nil || ctx.Err() != nil {
			return store.Run{}, err
		}
		truth := p.m.machine.Truth()
		run, err := watchRun(ctx, p.m.client, id, config.SourceEncoder, nil, p.e.err)
		switch {
		case err != nil && ctx.Err() == nil:
			return store.Run{}, err
		case ctx.Err() != nil:
			return store.Run{}, nil
		case run.Outcome == store.Finished && run.Result != nil && p.m.machine.Truth() == truth:
			return run, nil
		case run.Outcome == store.Finished && run.Result != nil:
			fmt.Fprintf(p.e.err, "The visitor moved the head during run %d, so that it says little. Once more.\n",
				run.ID)
		case run.Outcome == store.Abandoned:
			fmt.Fprintln(p.e.err, "The visitor gave that sweep up.")
		case failed == 2:
			return store.Run{}, fmt.Errorf("run %d %s: %s", run.ID, run.Outcome, run.Why)
		default: // a computer that is busy with something else loses counts of the simulated encoder
			failed++
			fmt.Fprintf(p.e.err, "run %d %s: %s. Once more.\n", run.ID, run.Outcome, run.Why)
		}
	}
}

// whenFree starts a measurement once nothing is being measured; a visitor may be quicker, then it waits again.
func (p *demoPerson) whenFree(ctx context.Context, start func() error) error {
	for {
		err := p.m.client.Live(ctx, func(now *api.Snapshot) bool { return now.Sweep.Phase != api.PhaseIdle })
		if err != nil || ctx.Err() != nil {
			return err
		}
		if err = start(); err == nil || ctx.Err() != nil {
			return err
		}
		if s, e := p.m.client.Snapshot(ctx); e != nil || s.Sweep.Phase == api.PhaseIdle {
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
func (p *demoPerson) next(ctx context.Context, last sweep.Result) error {
	a, err := p.m.client.Advice(ctx)
	if err != nil {
		return err
	}
	fmt.Fprintf(p.e.err, "%s\n", sayMoves(a))
	moves, swept, err := p.visitor(ctx)
	switch {
	case err != nil || ctx.Err() != nil:
		return err
	case moves != nil:
		fmt.Fprintln(p.e.err, "The visitor moved something.")
		p.head.logged(moves)
		return nil
	case swept != nil: // by the visitor: there is new advice
		return p.next(ctx, *swept)
	case last.Verdict == sweep.Within || len(a.Moves) == 0:
		return p.knock(ctx)
	}
	moves = map[string]float64{}
	for _, m := range a.Moves {
		moves[m.Adjuster] += m.By
	}
	p.head.logged(moves)
	return p.m.client.LogEvent(ctx, "adjusted", sayMoves(a), moves)
}

// visitor waits for a move that a visitor logs, or for a sweep of his own, and returns it; neither where he has done
// nothing for as long as p.visit.
func (p *demoPerson) visitor(ctx context.Context) (moves map[string]float64, swept *sweep.Result, err error) {
	newest, err := p.m.client.Events(ctx, 1)
	if err != nil {
		return nil, nil, err
	}
	last := int64(0)
	if len(newest) > 0 {
		last = newest[0].ID
	}
	before, err := p.m.client.Snapshot(ctx)
	if err != nil {
		return nil, nil, err
	}
	acted := time.Now()
	tick := time.NewTicker(300 * time.Millisecond)
	defer tick.Stop()
	for time.Since(acted) < p.visit {
		select {
		case <-ctx.Done():
			return nil, nil, nil
		case <-tick.C:
		}
		events, err := p.m.client.Events(ctx, 10)
		if err != nil {
			return nil, nil, err
		}
		for _, x := range events {
			if x.ID > last && len(x.Moved) > 0 {
				return x.Moved, nil, nil
			}
		}
		now, err := p.m.client.Snapshot(ctx)
		if err != nil {
			return nil, nil, err
		}
		_, _, touched := p.head.adjusted()
		switch {
		case now.Sweep.Phase != api.PhaseIdle:
			acted = time.Now()
		case touched.After(acted):
			acted = touched
		case now.Last != nil && (before.Last == nil || now.Last.Run != before.Last.Run):
			return nil, &now.Last.Result, nil
		}
	}
	return nil, nil, nil
}

// knock puts the machine out of square, so that there is something to do.
func (p *demoPerson) knock(ctx context.Context) error {
	swung, packed, _ := p.head.adjusted()
	p.knocked = true
	p.m.machine.Adjust(knocked(p.rng, swung, packed))
	text := "linnet was knocked out of square, to begin again"
	fmt.Fprintln(p.e.err, text)
	return p.m.client.LogEvent(ctx, "crashed", text, nil)
}

// knocked returns how far a knock turns the head, mm/m, by chance. It never asks for more than the adjusters mend: one
// that was moved is knocked the way in which it goes back.
func knocked(rng *rand.Rand, swung, packed float64) (tilt, nod float64) {
	one := func(moved float64) float64 {
		size, side := 0.2+0.4*rng.Float64(), float64(2*rng.IntN(2)-1)
		switch {
		case moved < 0:
			return -size
		case moved > 0:
			return size
		}
		return side * size
	}
	return one(swung), one(packed)
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
