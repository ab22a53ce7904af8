package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"math"
	"math/rand/v2"
	"net"
	"os"
	"strconv"
	"time"

	"tramd/cmd/tramd/internal/sim"
	"tramd/sweep"
)

type demoCmd struct {
	Seconds float64 `placeholder:"S" help:"End by itself after so long (at least two sweeps are made); without it, Ctrl-C ends it."`
	JSON    bool    `name:"json" help:"Print truth and result as JSON at the end."`
	Listen  string  `default:"127.0.0.1:9743" help:"Where linnet's page is served; wren's has the next port, and linnet's adjusters the one after."`
	Seed    uint64  `default:"1" help:"Another seed makes other noise and other knocks."`
	Year    bool    `default:"true" negatable:"" help:"Begin with an invented year of checks on record."`
	Logs    bool    `help:"Show the daemons' logs too."`
}

// demoSweep is what one sweep of the demo came to.
type demoSweep struct {
	Run    int64        `json:"run"`
	Truth  demoTruth    `json:"truth"`
	Result sweep.Result `json:"result"`
	Agrees bool         `json:"agrees"`
}

type demoTruth struct {
	Tilt float64 `json:"tilt_mm_per_m"`
	Nod  float64 `json:"nod_mm_per_m"`
}

func (c *demoCmd) Run(e *env) (err error) {
	if c.Seconds < 0 || math.IsNaN(c.Seconds) || math.IsInf(c.Seconds, 0) {
		return usageError{fmt.Errorf("--seconds %v: give a number of seconds, 0 or more", c.Seconds)}
	}
	second, err := nextPort(c.Listen)
	if err != nil {
		return usageError{err}
	}
	third, err := nextPort(second)
	if err != nil {
		return usageError{err}
	}
	ctx, cancel := context.WithCancel(e.ctx)
	defer cancel()
	dir, err := os.MkdirTemp("", "tramd-demo-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	log := slog.New(slog.DiscardHandler)
	if c.Logs {
		log = e.log
	}
	var linnetYear, wrenYear []sim.Entry
	if c.Year {
		fmt.Fprintln(e.err, "Writing a year of simulated checks ...")
		now := time.Now()
		linnetYear, wrenYear = sim.LinnetYear(now), sim.WrenYear(now)
	}
	linnet, wren := sim.Linnet(), sim.Wren()
	linnet.Seed = c.Seed
	var machines []*demoMachine
	defer func() { // the daemons end first, then their machines and their folder
		cancel()
		for _, m := range machines {
			if e := m.wait(); err == nil {
				err = e
			}
		}
	}()
	for _, x := range []struct {
		name, listen string
		params       sim.Params
		year         []sim.Entry
	}{{"linnet", c.Listen, linnet, linnetYear}, {"wren", second, wren, wrenYear}} {
		m, err := startDemoMachine(ctx, x.name, dir, x.listen, x.params, x.year, log)
		if err != nil {
			return err
		}
		machines = append(machines, m)
		go m.hand(ctx)
	}
	head := newDemoHead(machines[0].machine, func(ctx context.Context, moved map[string]float64) error {
		return machines[0].client.LogEvent(ctx, "adjusted", "moved by a visitor", moved)
	})
	hands, err := head.serve(ctx, third, fmt.Sprintf("http://%s/adjust", machines[0].page))
	if err != nil {
		return err
	}
	fmt.Fprintf(e.err, `
linnet, a gantry router to be squared:   http://%s/
wren, a bench mill with a year of checks: http://%s/
the adjusters of linnet's simulated head: http://%s/
These machines are simulated: nothing real moves. %s
What to look at:
  now       on linnet's page: the arm turns, the lean appears, the advice says what to move and waits a minute for you
  adjust    there: aim at the target while you move the simulated head's adjusters, log it, and the next sweep follows
  history   on wren's page: a year of checks, the forecast and the next date; its report prints
  machine   ports, calendar and downloads; /metrics beside it is what Prometheus reads
  terminal  below: rail, plate and shank, the truth beside each figure; in another: tramd watch --config %s
`, machines[0].page, machines[1].page, hands, cautions, machines[0].file)
	p := &demoPerson{e: e, m: machines[0], rng: rand.New(rand.NewPCG(c.Seed, 21)), visit: time.Minute, head: head}
	p.below = &demoAssembly{demoPerson: p, sim: sim.LinnetAssembly(c.Seed), quick: c.Seconds > 0}
	if c.Seconds > 0 {
		p.visit = time.Second
	}
	err = p.work(ctx, c.Seconds)
	if e.ctx.Err() != nil {
		err = nil // Ctrl-C is how a demo without --seconds ends
	}
	if err != nil {
		return err
	}
	return c.report(e, p.sweeps, p.below.figures)
}

// nextPort returns the address with the next port; port 0 stays, for any free one.
func nextPort(listen string) (string, error) {
	host, port, err := net.SplitHostPort(listen)
	if err != nil {
		return "", fmt.Errorf("--listen %s: write an address and a port, for example 127.0.0.1:9743", listen)
	}
	n, err := strconv.ParseUint(port, 10, 16)
	if err != nil || n == math.MaxUint16 {
		return "", fmt.Errorf("--listen %s: the port must be a number below 65535", listen)
	}
	if n > 0 {
		n++
	}
	return net.JoinHostPort(host, strconv.FormatUint(n, 10)), nil
}

// agrees reports whether the truth lies within three times the interval's half width. One interval in twenty misses the
// truth, so that alone is no fault; this far off it is one.
func agrees(a *sweep.Axis, truth float64) bool {
	return a != nil && math.Abs(a.Slope.MMPerM()-truth) <= 3*a.Expanded.MMPerM()
}

// holdsTruth counts an interval that holds the truth.
func holdsTruth(a *sweep.Axis, truth float64) int {
	if a != nil && math.Abs(a.Slope.MMPerM()-truth) <= a.Expanded.MMPerM() {
		return 1
	}
	return 0
}

func (c *demoCmd) report(e *env, sweeps []demoSweep, figures []demoFigure) error {
	all, held := len(sweeps) > 0, 0
	for _, s := range sweeps {
		all = all && s.Agrees
		held += holdsTruth(s.Result.Tilt, s.Truth.Tilt) + holdsTruth(s.Result.Nod, s.Truth.Nod)
	}
	for _, f := range figures {
		all = all && f.Agrees
	}
	out := bufio.NewWriter(e.out)
	if c.JSON {
		if sweeps == nil {
			sweeps = []demoSweep{}
		}
		if err := json.NewEncoder(out).Encode(map[string]any{"machine": "linnet", "assembly": figures, "sweeps": sweeps,
			"agrees": all}); err != nil {
			return err
		}
	} else {
		fmt.Fprintf(out, "%d sweeps; %d of %d intervals hold the truth (95 in 100 do in the long run)\n", len(sweeps),
			held, 2*len(sweeps))
	}
	if err := out.Flush(); err != nil {
		return err
	}
	if !all && len(sweeps) > 0 {
		fmt.Fprintln(e.err, "tramd: a result and the truth disagree by more than its uncertainty allows")
		return errShown
	}
	return nil
}
