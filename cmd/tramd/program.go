package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os/signal"
	"strings"
	"sync"
	"syscall"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/client"
	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/motion"
	"tramd/cmd/tramd/internal/session"
	"tramd/store"
)

type programCmd struct {
	configFlag
	Purpose     string   `enum:"check,adjust" default:"check" help:"check: does it still hold; adjust: something is being moved."`
	Temperature *float64 `name:"temperature" placeholder:"C" help:"The machine's temperature in degrees Celsius, where no sensor tells it; stored with the run, for the drift."`
	DryRun      bool     `help:"Print every command that would be sent, and move nothing."`
	JSON        bool     `name:"json" help:"Print the result as one JSON object."`
}

// errNoProgram is said where no program is configured.
var errNoProgram = errors.New(
	`no motion controller is configured: write [angle] source = "program" and the table [program]`)

func (c *programCmd) Run(e *env) error {
	cfg, err := c.load(e)
	if err != nil {
		return err
	}
	if cfg.Angle.Source != config.SourceProgram {
		return errNoProgram
	}
	if err := judgeTyped(c.Temperature); err != nil {
		return err
	}
	printCautions(e.err, session.Cautions)
	if c.DryRun {
		return dryRun(e.out, cfg.Motion())
	}
	cl := client.New(cfg.Control.Socket)
	defer cl.Close()
	run, err := twoActs(e, cl, motionOf{
		machine: cfg.Machine.Name, source: cfg.Angle.Source,
		arm: func() (api.Armed, error) { return cl.ArmMotion(e.ctx, 0) },
		start: func(ctx context.Context, key string) (int64, error) {
			return cl.StartMotion(ctx, key, c.Purpose, c.Temperature)
		},
	})
	if err != nil {
		return err
	}
	return reportRun(e, run, c.JSON)
}

// dryRun prints every command that a program would send.
func dryRun(w io.Writer, p motion.Program) error {
	lines, stop, err := p.Lines()
	if err != nil {
		return err
	}
	text := fmt.Sprintf("%s\n# when anything is wrong, or a stop is asked for:\n%s\n", strings.Join(lines, "\n"), stop)
	if len(p.Retract) > 0 {
		text += fmt.Sprintf(
			"# once the controller has said that it has stopped, after a reading that was outside, silent or did not settle:\n%s\n",
			strings.Join(p.Retract, "\n"))
	}
	_, err = fmt.Fprint(w, text)
	return err
}

// motionOf is a motion that a person arms and starts at a terminal.
type motionOf struct {
	machine, source string
	arm             func() (api.Armed, error)
	start           func(ctx context.Context, key string) (int64, error)
}

// twoActs arms a motion, has the person start it, holds it while this program lives, and returns its run.
func twoActs(e *env, cl *client.Client, m motionOf) (run store.Run, err error) {
	armed, err := m.arm()
	if err != nil {
		return run, err
	}
	fmt.Fprintf(
		e.err,
		"%d commands will be sent, over about %.0f s and the time that the readings take to settle; Ctrl-C sends the stop command %q, and so does the end of this terminal.\n",
		len(armed.Commands), armed.AboutS, armed.Stop)
	if len(armed.Retract) > 0 {
		fmt.Fprintf(
			e.err, "After some stops it moves once more, to retract (%s): stay clear until it is said to have ended.\n",
			strings.Join(armed.Retract, "; "))
	}
	ctx, done := signal.NotifyContext(e.ctx, syscall.SIGHUP) // the terminal has gone
	defer done()
	if err := secondAct(e, m.machine); err != nil {
		return run, err
	}
	id, err := m.start(ctx, armed.Key)
	if err != nil {
		return run, err
	}
	letGo := holdMotion(ctx, cl, id)
	defer letGo()
	return watchRun(ctx, cl, id, m.source, nil, e.units.Writer(e.err))
}

// holdMotion has the motion go on while this program lives. What it gives back ends that.
func holdMotion(ctx context.Context, cl *client.Client, run int64) (letGo func()) {
	ctx, stop := context.WithCancel(context.WithoutCancel(ctx)) // a stop that is asked for says so itself
	var held sync.WaitGroup
	held.Go(func() { _ = cl.HoldMotion(ctx, run) }) // when it fails the arm is stopped, and the run says so
	return func() { stop(); held.Wait() }
}

func printCautions(w io.Writer, cautions []string) {
	fmt.Fprintln(w, "Caution, stepped motion:")
	for _, text := range cautions {
		fmt.Fprintln(w, "  -", text)
	}
}

// secondAct has the person type the machine's name: not a key that is pressed by habit.
func secondAct(e *env, name string) error {
	fmt.Fprintf(e.err, "Type the machine's name to start the motion, anything else not to: ")
	if e.in == nil {
		return errors.New("nothing was typed, so nothing is moved")
	}
	answer := make(chan string, 1)
	go func() { // a read of the terminal cannot be called off; it ends with the program
		line, _ := bufio.NewReader(e.in).ReadString('\n') // what there is of a line is the answer
		answer <- strings.TrimSpace(line)
	}()
	select {
	case <-e.ctx.Done():
		return errors.New("nothing is moved")
	case text := <-answer:
		if text != name {
			return fmt.Errorf("%q is not the name of this machine, so nothing is moved", text)
		}
		return nil
	}
}

type armCmd struct {
	configFlag
	Hours float64 `default:"12" help:"For how long, 168 at most. A restart of the daemon ends it too."`
	JSON  bool    `name:"json" help:"Print one JSON object: machine, armed, until."`
}

func (c *armCmd) Run(e *env) error {
	if !(c.Hours > 0 && c.Hours <= 168) {
		return usageError{fmt.Errorf("--hours %v: give a number above 0, up to 168", c.Hours)}
	}
	cfg, err := c.load(e)
	if err != nil {
		return err
	}
	if cfg.Angle.Source != config.SourceProgram {
		return errNoProgram
	}
	printCautions(e.err, session.Cautions)
	fmt.Fprintln(
		e.err,
		"  - The arm will move by itself, at planned times, while no person is near. Fence it off and say so on it.")
	if err := secondAct(e, cfg.Machine.Name); err != nil {
		return err
	}
	cl := client.New(cfg.Control.Socket)
	defer cl.Close()
	armed, err := cl.ArmMotion(e.ctx, time.Duration(c.Hours*float64(time.Hour)))
	if err != nil {
		return err
	}
	if c.JSON {
		return json.NewEncoder(e.out).Encode(armedOut{Machine: cfg.Machine.Name, Armed: true, Until: &armed.Until})
	}
	_, err = fmt.Fprintf(e.out, "Planned checks may move %s until %s.\n", cfg.Machine.Name, localTime(armed.Until))
	return err
}

// armedOut is what programs read of arm and disarm.
type armedOut struct {
	Machine string     `json:"machine"`
	Armed   bool       `json:"armed"`
	Until   *time.Time `json:"until,omitempty"`
}

type disarmCmd struct {
	configFlag
	JSON bool `name:"json" help:"Print one JSON object: machine, armed."`
}

func (c *disarmCmd) Run(e *env) error {
	cfg, err := c.load(e)
	if err != nil {
		return err
	}
	cl := client.New(cfg.Control.Socket)
	defer cl.Close()
	if err := cl.DisarmMotion(e.ctx); err != nil || !c.JSON {
		return err
	}
	return json.NewEncoder(e.out).Encode(armedOut{Machine: cfg.Machine.Name})
}
