package main

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/client"
	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/daemon"
	"tramd/cmd/tramd/internal/sim"
	"tramd/sweep/mixed"
)

// demoRPM is a hand that takes its time. At twice the speed one turn is too short against the slow noise of linnet's
// indicator: its intervals hold the truth in 85 to 92 of 100 cases, at this speed in 94 to 96.
const demoRPM = 4

// demoMachine is a simulated machine with the daemon that looks after it.
type demoMachine struct {
	machine *sim.Machine
	cfg     *config.Config
	file    string // the configuration, for commands in another terminal
	client  *client.Client
	page    net.Addr
	ended   chan error
}

// startDemoMachine starts a machine and its daemon in dir, with its year on record first unless that is nil.
func startDemoMachine(ctx context.Context, name, dir, listen string, p sim.Params, year []sim.Entry, log *slog.Logger) (
	*demoMachine, error) {
	machine, err := sim.Start(ctx, p)
	if err != nil {
		return nil, err
	}
	m := &demoMachine{machine: machine, ended: make(chan error, 1)}
	m.file = filepath.Join(dir, name+".toml")
	if m.cfg, err = demoConfig(m.file, name, dir, listen, machine, p); err == nil {
		err = writeYear(ctx, m.cfg, p, year, log)
	}
	if err != nil {
		machine.Close()
		return nil, err
	}
	ready := make(chan net.Addr, 1)
	go func() {
		m.ended <- daemon.Run(ctx, m.cfg, daemon.Options{
			Version: version, Log: log, Fit: mixed.FitWith, Ready: func(a net.Addr) { ready <- a },
		})
	}()
	select {
	case m.page = <-ready:
	case err := <-m.ended:
		machine.Close()
		return nil, err
	}
	m.client = client.New(m.cfg.Control.Socket)
	return m, nil
}

// wait returns how the daemon ended, once the context it was started with has ended.
func (m *demoMachine) wait() error {
	err := <-m.ended
	m.client.Close()
	m.machine.Close()
	return err
}

// hand turns the arm for each sweep that waits, from the page or from here.
func (m *demoMachine) hand(ctx context.Context) {
	turning := int64(0)
	dir := 1.0
	for ctx.Err() == nil {
		_ = m.client.Live(ctx, func(s *api.Snapshot) bool {
			if s.Sweep.Phase == api.PhaseWaiting && s.Sweep.Measured == nil && s.Sweep.Run != turning {
				turning = s.Sweep.Run
				m.machine.Turn(dir*(float64(s.Sweep.TurnsWanted)+0.03), demoRPM)
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

// demoConfig writes the configuration to file and reads it.
func demoConfig(file, name, dir, listen string, m *sim.Machine, p sim.Params) (*config.Config, error) {
	text := fmt.Sprintf(`
[machine]
name = %q
tolerance = "0.02/300"
surface = "bed"
[clock]
trusted = true
[store]
path = %q
[control]
socket = %q
[http]
listen = %q
open_loopback = true
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
`+demoAdjusters, name, filepath.Join(dir, name+".db"), filepath.Join(dir, name+".sock"), listen,
		m.IndicatorPath(), p.RadiusMM, p.ResolutionMM, m.EncoderPath(), p.CountsPerTurn)
	if name == "linnet" {
		text += demoAssemblyConfig
	}
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		return nil, err
	}
	return config.Load(file)
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
