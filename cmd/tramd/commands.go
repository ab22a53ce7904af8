package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"

	"github.com/alecthomas/kong"

	"tramd/cmd/tramd/internal/display"
	"tramd/sweep"
)

// Exit statuses; scripts rely on them.
const (
	exitDone      = 0
	exitFailed    = 1
	exitUsage     = 2
	exitOutside   = 3
	exitUndecided = 4
)

// commandLine is every command and flag. Commands are grouped in the help by what a person is doing.
type commandLine struct {
	ShowVersion kong.VersionFlag `name:"version" help:"Print the version."`

	Sweep    sweepCmd    `cmd:"" group:"measure" help:"Take one attended sweep and show it live."`
	Program  programCmd  `cmd:"" group:"measure" help:"Sweep by a motion controller that turns the arm from station to station."`
	Watch    watchCmd    `cmd:"" group:"measure" help:"Show the present state in the terminal, live, until Ctrl-C."`
	Fit      fitCmd      `cmd:"" group:"measure" help:"Fit recorded sweeps, traverses, bars and travels (CSV), recognised by their header."`
	Traverse traverseCmd `cmd:"" group:"measure" help:"Take an attended traverse: readings at announced positions along a line, live."`
	Bar      barCmd      `cmd:"" group:"measure" help:"Turn a bar or a tool shank under an indicator: run-out, and its angle to the axis."`
	Travel   travelCmd   `cmd:"" group:"measure" help:"Move the head along a bar or a square: how the head travels, against spindle or table."`
	Stack    stackCmd    `cmd:"" group:"measure" help:"Add all measured relations of the assembly up: closure, adjusted values, the suspect, what to correct."`
	Import   importCmd   `cmd:"" group:"measure" help:"Bring recorded sweeps (CSV) into the record. A sweep that is there already is not stored twice."`
	Separate separateCmd `cmd:"" group:"measure" help:"Separate spindle and loose plate: a sweep on the plate as it lay, and one after it was turned by 180 degrees."`

	Advise adviseCmd `cmd:"" group:"adjust" help:"Say what to move next, by how much, and when to stop."`
	Aim    aimCmd    `cmd:"" group:"adjust" help:"Follow the indicator to the aim while a joint is loose: large digits, and the terminal's bell."`
	Event  eventCmd  `cmd:"" group:"adjust" help:"Log what happened to the machine; list events, or take one back."`
	Job    jobCmd    `cmd:"" group:"adjust" help:"Write the record of the last job as one page that prints (HTML), or lead through the assembly step by step (--text)."`

	Runs   runsCmd   `cmd:"" group:"look" help:"List stored runs, newest first."`
	Show   showCmd   `cmd:"" group:"look" help:"Show one stored run."`
	Drift  driftCmd  `cmd:"" group:"look" help:"Say from a history of checks whether the machine drifts, since when, and when to check next."`
	Report reportCmd `cmd:"" group:"look" help:"Write one HTML file that prints: history, forecast, control chart, and how often to check, for the machine's manual."`
	Export exportCmd `cmd:"" group:"look" help:"Write a stored run's readings (CSV) or all of it (JSON), or the checks of the whole record (OpenMetrics)."`
	Refit  refitCmd  `cmd:"" group:"look" help:"Fit stored runs again with today's model; old results stay."`

	Setup    setupCmd    `cmd:"" group:"setup" help:"Ask for all a configuration needs, find the ports and how the indicator speaks, and write it."`
	Config   configCmd   `cmd:"" group:"setup" help:"Check the configuration."`
	Doctor   doctorCmd   `cmd:"" group:"setup" help:"Examine rights, udev, ports, clock, disk, record, alarms and daemon; each finding comes with its cure."`
	Ports    portsCmd    `cmd:"" group:"setup" help:"List the serial ports: lasting name, adapter, who has it open. Opens none."`
	Identify identifyCmd `cmd:"" group:"setup" help:"Find out what an unknown indicator sends, and print the block of a configuration that reads it."`
	Listen   listenCmd   `cmd:"" group:"setup" help:"Show what comes through a port, raw and decoded side by side."`
	Record   recordCmd   `cmd:"" group:"setup" help:"Record every byte of a port to a capture file."`
	Pass     passwdCmd   `cmd:"" group:"setup" name:"password" help:"Make the hash for http.password_hash from a password on standard input."`
	Demo     demoCmd     `cmd:"" group:"setup" help:"Run the whole job on a simulated machine."`

	Run     runCmd     `cmd:"" group:"serve" help:"Run the daemon."`
	Arm     armCmd     `cmd:"" group:"serve" help:"Let planned checks move the arm, for some hours and until the next restart at most."`
	Disarm  disarmCmd  `cmd:"" group:"serve" help:"End the arming for planned checks."`
	Backup  backupCmd  `cmd:"" group:"serve" help:"Copy the record beside the running daemon, and check the copy."`
	Restore restoreCmd `cmd:"" group:"serve" help:"Put a backup in the record's place; the daemon must be stopped."`

	Help     helpCmd       `cmd:"" group:"help" help:"Show the help of a command."`
	Manual   manualCmd     `cmd:"" group:"help" help:"Print the manual page (roff)."`
	Complete completionCmd `cmd:"" group:"help" name:"completion" help:"Print the completion for a shell: source <(tramd completion bash)."`
	Version  versionCmd    `cmd:"" group:"help" help:"Print the version."`
}

// groups are the headings of the help.
var groups = []kong.Group{
	{Key: "measure", Title: "Measure:"},
	{Key: "adjust", Title: "Adjust:"},
	{Key: "look", Title: "Look back:"},
	{Key: "setup", Title: "Set up:"},
	{Key: "serve", Title: "Serve and keep:"},
	{Key: "help", Title: "Help:"},
}

// newParser returns the program's grammar over cl.
func newParser(cl *commandLine, options ...kong.Option) (*kong.Kong, error) {
	return kong.New(cl, append([]kong.Option{
		kong.Name("tramd"), kong.Description(description), kong.Vars{"model": defaultModel, "version": versionLine()},
		kong.ExplicitGroups(groups), kong.ConfigureHelp(kong.HelpOptions{Compact: true}), kong.Help(printHelp),
	}, options...)...)
}

// env is what a command may touch of the outside.
type env struct {
	ctx      context.Context
	in       io.Reader
	out, err io.Writer
	log      *slog.Logger
	units    display.Units // that people read; those of the configuration, once it was read
}

// text is where results for a person go: in the configuration's units. What programs read goes to out itself.
func (e *env) text() io.Writer { return e.units.Writer(e.out) }

// verdictStatus carries a verdict out of a command as an exit status.
type verdictStatus sweep.Verdict

func (v verdictStatus) Error() string { return "verdict: " + string(v) }

// errShown is a failure that has been printed already.
var errShown = errors.New("failed")

const cautions = `Caution: isolate the spindle's power before a hand or an arm is near it. Never run the spindle with the arm on it.
Local rules and the machine's manual come first.
`

const description = `tramd squares a milling machine's spindle to its table and keeps it so.

Exit status: 0 done (and within tolerance), 1 failed, 2 wrong usage, 3 outside tolerance, 4 undecided.

` + cautions

// run is the program; tests call it.
func run(ctx context.Context, args []string, in io.Reader, out, errOut io.Writer) (status int) {
	var cl commandLine
	exited := -1
	parser, err := newParser(&cl, kong.Writers(out, errOut), kong.Exit(func(code int) { exited = code }))
	if err != nil {
		fmt.Fprintln(errOut, "tramd:", err)
		return exitFailed
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	parsed, err := parser.Parse(args)
	if exited >= 0 { // --help, --version
		return exited
	}
	if err != nil {
		fmt.Fprintf(errOut, "tramd: %v\nSee tramd help.\n", err)
		return exitUsage
	}
	e := &env{ctx: ctx, in: in, out: out, err: errOut, log: newLogger(errOut)}
	return statusOf(parsed.Run(e), errOut)
}

func statusOf(err error, errOut io.Writer) int {
	var v verdictStatus
	var usage usageError
	switch {
	case err == nil:
		return exitDone
	case errors.As(err, &v):
		switch sweep.Verdict(v) {
		case sweep.Outside:
			return exitOutside
		case sweep.Undecided:
			return exitUndecided
		}
		return exitDone
	case errors.Is(err, errShown):
		return exitFailed
	case errors.As(err, &usage):
		fmt.Fprintln(errOut, "tramd:", err)
		return exitUsage
	}
	fmt.Fprintln(errOut, "tramd:", err)
	return exitFailed
}

// usageError is a mistake in how the program was called.
type usageError struct{ error }

func (u usageError) Unwrap() error { return u.error }

// worst orders verdicts by how much they ask of the reader.
func worst(a, b sweep.Verdict) sweep.Verdict {
	rank := map[sweep.Verdict]int{sweep.None: 0, sweep.Within: 1, sweep.Undecided: 2, sweep.Outside: 3}
	if rank[b] > rank[a] {
		return b
	}
	return a
}
