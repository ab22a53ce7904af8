package main

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"net"
	"os"
	"path/filepath"
	"time"

	"golang.org/x/crypto/bcrypt"

	"tramd/cmd/tramd/internal/client"
	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/daemon"
	"tramd/cmd/tramd/internal/session"
	"tramd/cmd/tramd/internal/sim"
	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/mixed"
)

type demoCmd struct {
	Seconds float64 `placeholder:"S" help:"End by itself after so long (at least two sweeps are made); without it, Ctrl-C ends it."`
	JSON    bool    `name:"json" help:"Print truth and result as JSON at the end."`
	Listen  string  `default:"127.0.0.1:9743" help:"Where the page is served."`
	Seed    uint64  `default:"1" help:"Another seed makes other noise."`
}

// demoPassword lets whoever watches the demo press the page's buttons; nothing real moves.
const demoPassword = "instrument-case"

// demoRPM is a hand that takes its time.
const demoRPM = 8

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

// demo is a running demonstration: the simulated machine, the daemon beside it, and the person who turns and adjusts.
type demo struct {
	e       *env
	machine *sim.Machine
	client  *client.Client
	sweeps  []demoSweep
}

func (c *demoCmd) Run(e *env) (err error) {
	ctx, cancel := context.WithCancel(e.ctx)
	defer cancel()
	params := sim.Linnet()
	params.Seed = c.Seed
	machine, err := sim.Start(ctx, params)
	if err != nil {
		return err
	}
	defer machine.Close()
	dir, err := os.MkdirTemp("", "tramd-demo-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	cfg, err := demoConfig(dir, c.Listen, machine, params)
	if err != nil {
		return err
	}
	ready, ended := make(chan net.Addr, 1), make(chan error, 1)
	go func() {
		ended <- daemon.Run(ctx, cfg, daemon.Options{
			Version: version, Log: e.log, Fit: mixed.FitWith, Ready: func(a net.Addr) { ready <- a },
		})
	}()
	defer func() { // the daemon ends first, then its machine and its folder
		cancel()
		if e := <-ended; err == nil {
			err = e
		}
	}()
	select {
	case addr := <-ready:
		fmt.Fprintf(e.err, "\nPage: http://%s/   (password for its buttons: %s)\nThis machine is simulated: nothing real moves. %s\n", addr, demoPassword, cautions)
	case err := <-ended:
		ended <- nil
		return err
	}
	d := &demo{e: e, machine: machine, client: client.New(cfg.Control.Socket)}
	defer d.client.Close()
	go d.hand(ctx)
	err = d.job(ctx, c.Seconds)
	if e.ctx.Err() != nil {
		err = nil // Ctrl-C is how a demo without --seconds ends
	}
	if err != nil {
		return err
	}
	return c.report(e, d.sweeps)
}

func demoConfig(dir, listen string, m *sim.Machine, p sim.Params) (*config.Config, error) {
	hash, err := bcrypt.GenerateFromPassword([]byte(demoPassword), bcrypt.MinCost)
	if err != nil {
		return nil, err
	}
	text := fmt.Sprintf(`
[machine]
name = "linnet"
tolerance = "0.02/300"
surface = "bed"
[store]
path = %q
[http]
listen = %q
password_hash = %q
[[indicator]]
name = "arm"
port = %q
radius_mm = %v
radius_u_mm = 0.2
resolution_mm = %v
[angle]
source = "encoder"
port = %q
counts_per_turn = %d
zero_deg = 0.0
`+demoAdjusters, filepath.Join(dir, "linnet.db"), listen, hash, m.IndicatorPath(), p.RadiusMM, p.ResolutionMM, m.EncoderPath(), p.CountsPerTurn)
	return config.Parse("demo", []byte(text))
}

// hand turns the arm whenever a sweep waits for it, whoever asked for the sweep.
func (d *demo) hand(ctx context.Context) {
	turning := int64(0)
	dir := 1.0
	for ctx.Err() == nil {
		_ = d.client.Live(ctx, func(s *session.Snapshot) bool {
			if s.Sweep.Phase == session.Waiting && s.Sweep.Run != turning {
				turning = s.Sweep.Run
				d.machine.Turn(dir*(float64(s.Sweep.TurnsWanted)+0.03), demoRPM)
				dir = -dir
			}
			return true
		})
		select { // the stream ended: the daemon is stopping, or has too many watchers
		case <-ctx.Done():
		case <-time.After(200 * time.Millisecond):
		}
	}
}

// job sweeps, adjusts and sweeps again, until the time is up.
func (d *demo) job(ctx context.Context, seconds float64) error {
	began := time.Now()
	for n := 0; ; n++ {
		run, err := takeSweep(ctx, d.client, 1, "adjust", nil, config.SourceEncoder, nil, d.e.err)
		if err != nil {
			return err
		}
		if run.Outcome != store.Finished || run.Result == nil {
			if ctx.Err() != nil {
				return nil
			}
			return fmt.Errorf("run %d %s: %s", run.ID, run.Outcome, run.Why)
		}
		d.keep(run)
		if seconds > 0 && n >= 1 && time.Since(began).Seconds() > seconds-10 {
			return nil
		}
		d.adjust(ctx, run)
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(1500 * time.Millisecond):
		}
	}
}

func (d *demo) keep(run store.Run) {
	t := d.machine.Truth()
	s := demoSweep{Run: run.ID, Truth: demoTruth{t.TiltMMPerM, t.NodMMPerM}, Result: *run.Result}
	s.Agrees = agrees(run.Result.Tilt, t.TiltMMPerM) && agrees(run.Result.Nod, t.NodMMPerM)
	d.sweeps = append(d.sweeps, s)
	fmt.Fprintf(d.e.err, "run %d  tilt %s, truth %+.4f · nod %s, truth %+.4f mm/m · %s\n", run.ID,
		figure(run.Result.Tilt), t.TiltMMPerM, figure(run.Result.Nod), t.NodMMPerM, run.Result.Verdict)
}

// agrees says whether the truth lies within three times the interval's half width. One interval in twenty misses the truth, so
// that alone is no fault; this far off it is one.
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

// What the demo's head believes one unit of its adjusters does, mm/m: 1000/240 and 1000/140.
const demoSwing, demoShim = 1000.0 / 240, 1000.0 / 140

// demoAdjusters is how the demo's configuration describes them.
const demoAdjusters = `
[[adjuster]]
name = "swing"
kind = "swing"
lever_mm = 240.0
leans = "right"
plus = "swing the plate's top edge {} to the right"
minus = "swing the plate's top edge {} to the left"
[[adjuster]]
name = "lower shim"
kind = "shim"
spacing_mm = 140.0
leans = "back"
plus = "pack {} behind the lower bolts"
minus = "pack {} behind the upper bolts"
notes = "lower screws first, then the upper ones"
[shims]
stock_mm = [0.01, 0.02, 0.02, 0.05, 0.1, 0.2]
[[cutter]]
name = "6 mm end mill"
diameter_mm = 6.0
stepover_mm = 3.0
limit_mm = 0.002
[[cutter]]
name = "40 mm surfacing cutter"
diameter_mm = 40.0
stepover_mm = 30.0
limit_mm = 0.005
`

// adjust does what the person would: what the advice says, or, once it is true, knock it out again so that there is
// something to watch.
func (d *demo) adjust(ctx context.Context, run store.Run) {
	kind, text := "crashed", "linnet was knocked out of square, to begin again"
	var moved map[string]float64
	a, err := d.client.Advice(ctx)
	if err != nil && ctx.Err() == nil {
		d.e.log.Warn("could not get the advice", "error", err)
	}
	if run.Result.Verdict == sweep.Within || len(a.Moves) == 0 {
		d.machine.Adjust(0.45, -0.62)
	} else {
		kind, text, moved = "adjusted", "", map[string]float64{}
		for _, m := range a.Moves {
			moved[m.Adjuster] = m.By
			text += m.Say + " "
		}
		d.machine.Adjust(demoSwing*moved["swing"], demoShim*moved["lower shim"])
	}
	fmt.Fprintln(d.e.err, text)
	if err := d.client.LogEvent(ctx, kind, text, moved); err != nil && ctx.Err() == nil {
		d.e.log.Warn("could not log the adjustment", "error", err)
	}
}

func (c *demoCmd) report(e *env, sweeps []demoSweep) error {
	all, held := len(sweeps) > 0, 0
	for _, s := range sweeps {
		all = all && s.Agrees
		held += holdsTruth(s.Result.Tilt, s.Truth.Tilt) + holdsTruth(s.Result.Nod, s.Truth.Nod)
	}
	if c.JSON {
		if sweeps == nil {
			sweeps = []demoSweep{}
		}
		if err := json.NewEncoder(e.out).Encode(map[string]any{"machine": "linnet", "sweeps": sweeps, "agrees": all}); err != nil {
			return err
		}
	} else {
		fmt.Fprintf(e.out, "%d sweeps; %d of %d intervals hold the truth, about 95 in 100 are meant to\n", len(sweeps), held, 2*len(sweeps))
	}
	if !all && len(sweeps) > 0 {
		fmt.Fprintln(e.err, "tramd: a result and the truth disagree by more than its uncertainty allows")
		return errShown
	}
	return nil
}
