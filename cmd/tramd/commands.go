package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"

	"github.com/alecthomas/kong"

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

// commandLine is every command and flag.
type commandLine struct {
	Run      runCmd        `cmd:"" help:"Run the daemon."`
	Sweep    sweepCmd      `cmd:"" help:"Take one attended sweep and show it live."`
	Watch    watchCmd      `cmd:"" help:"Show the present state in the terminal, live, until Ctrl-C."`
	Fit      fitCmd        `cmd:"" help:"Fit recorded sweeps (CSV)."`
	Advise   adviseCmd     `cmd:"" help:"Say what to move next, by how much, and when to stop."`
	Runs     runsCmd       `cmd:"" help:"List stored runs, newest first."`
	Show     showCmd       `cmd:"" help:"Show one stored run."`
	Refit    refitCmd      `cmd:"" help:"Fit stored runs anew with today's model; old results stay."`
	Separate separateCmd   `cmd:"" help:"Tell the spindle from a loose plate: a sweep on the plate as it lay, and one after it was turned by 180 degrees."`
	Job      jobCmd        `cmd:"" help:"Write the record of the last job, sweep, move, sweep, as one page that prints (HTML)."`
	Drift    driftCmd      `cmd:"" help:"Say from a history of checks whether the machine drifts, since when, and when to check next."`
	Report   reportCmd     `cmd:"" help:"Write one HTML file that prints: history, forecast, control chart, and how often to check, for the machine's manual."`
	Export   exportCmd     `cmd:"" help:"Write a stored run's readings (CSV) or all of it (JSON)."`
	Backup   backupCmd     `cmd:"" help:"Copy the record beside the running daemon, and check the copy."`
	Restore  restoreCmd    `cmd:"" help:"Put a backup in the record's place; the daemon must be stopped."`
	Program  programCmd    `cmd:"" help:"Sweep by a motion controller that turns the arm from station to station."`
	Arm      armCmd        `cmd:"" help:"Let planned checks move the arm, for some hours and until the next restart at most."`
	Disarm   disarmCmd     `cmd:"" help:"Take the arming for planned checks back."`
	Import   importCmd     `cmd:"" help:"Bring recorded sweeps (CSV) into the record; the same one twice is noticed."`
	Event    eventCmd      `cmd:"" help:"Log what happened to the machine: adjusted, crashed, serviced, moved, acknowledged, note; or its hours."`
	Ports    portsCmd      `cmd:"" help:"List the serial ports: lasting name, adapter, who has it open. Opens none."`
	Identify identifyCmd   `cmd:"" help:"Find out what an unknown indicator sends, and print the block of a configuration that reads it."`
	Listen   listenCmd     `cmd:"" help:"Show what comes through a port, raw and decoded side by side."`
	Setup    setupCmd      `cmd:"" help:"Ask what a configuration must hold, find the ports and how the indicator speaks, and write it."`
	Doctor   doctorCmd     `cmd:"" help:"Look over the machine: rights, udev, ports, clock, disk, record, daemon; each finding with its cure."`
	Record   recordCmd     `cmd:"" help:"Record every byte of a port to a capture file."`
	Config   configCmd     `cmd:"" help:"Look after the configuration."`
	Demo     demoCmd       `cmd:"" help:"Run the whole job on a simulated machine."`
	Pass     passwdCmd     `cmd:"" name:"password" help:"Make the hash for http.password_hash from a password on standard input."`
	Manual   manualCmd     `cmd:"" help:"Print the manual page (roff)."`
	Complete completionCmd `cmd:"" name:"completion" help:"Print the completion for a shell: source <(tramd completion bash)."`
	Version  versionCmd    `cmd:"" help:"Print the version."`
}

// env is what a command may touch of the outside.
type env struct {
	ctx      context.Context
	in       io.Reader
	out, err io.Writer
	log      *slog.Logger
}

// verdictStatus carries a verdict out of a command as an exit status.
type verdictStatus sweep.Verdict

func (v verdictStatus) Error() string { return "verdict: " + string(v) }

// errShown is a failure that has been told already.
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
	parser, err := kong.New(&cl, kong.Name("tramd"), kong.Description(description), kong.Writers(out, errOut), kong.Vars{"model": defaultModel},
		kong.Exit(func(code int) { exited = code }), kong.ConfigureHelp(kong.HelpOptions{Compact: true}))
	if err != nil {
		fmt.Fprintln(errOut, "tramd:", err)
		return exitFailed
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	parsed, err := parser.Parse(args)
	if exited >= 0 { // --help
		return exited
	}
	if err != nil {
		fmt.Fprintf(errOut, "tramd: %v\nSee tramd --help.\n", err)
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

// worst orders verdicts by how much they ask of the reader.
func worst(a, b sweep.Verdict) sweep.Verdict {
	rank := map[sweep.Verdict]int{sweep.None: 0, sweep.Within: 1, sweep.Undecided: 2, sweep.Outside: 3}
	if rank[b] > rank[a] {
		return b
	}
	return a
}
