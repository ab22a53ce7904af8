package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"

	"golang.org/x/sys/unix"

	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/setup"
	"tramd/device/portlist"
	"tramd/device/serialport"
)

type setupCmd struct {
	File  string `arg:"" optional:"" help:"The configuration to write; without it NAME.toml, in /etc/tramd where that may be written."`
	Force bool   `help:"Write over a file that is there."`

	roots portlist.Roots // tests look at a made-up machine
}

// stateDir is where the packaged service keeps its records.
const stateDir = "/var/lib/tramd"

func (c *setupCmd) Run(e *env) error {
	if c.File != "" && !c.Force {
		if _, err := os.Lstat(c.File); err == nil {
			return inTheWay(c.File)
		}
	}
	ports, err := portlist.List(c.roots)
	if err != nil {
		fmt.Fprintln(e.err, "tramd:", err) // they can be named by hand
	}
	fmt.Fprintf(e.out, "%sAn empty answer takes what stands in brackets.\n\n", cautions)
	asker := setup.NewPrompter(e.ctx, e.in, e.out)
	name, text, err := setup.Interview(e.ctx, asker, setup.Options{
		Ports: ports, Record: recordPlace, Machine: hostName(), Find: finder(e), Hide: hider(e.in),
	})
	if err != nil {
		return err
	}
	if isTerminal(e.in) {
		if text, err = showZero(e, asker, text); err != nil {
			return err
		}
	}
	file := c.File
	if file == "" {
		file = name + ".toml"
		if writable("/etc/tramd") {
			file = filepath.Join("/etc/tramd", file)
		}
	}
	if err := writeConfig(file, text, c.Force); err != nil {
		return err
	}
	fmt.Fprintf(e.out, "\n%s is written.\n", file)
	if err := (&configCheckCmd{File: file}).Run(e); err != nil {
		return err
	}
	if cfg, err := config.Load(file); err == nil {
		if cfg.Angle.Source == config.SourceEncoder && cfg.Angle.ZeroDeg == nil {
			fmt.Fprint(e.out, zeroAsked)
		}
		showPage(e.out, cfg)
	}
	_, err = fmt.Fprintf(e.out, "Next: tramd doctor --config %[1]s, then tramd run --config %[1]s\n", file)
	return err
}

// showZero has the person show where 0 degrees of an encoder is, and gives the configuration with what that showed.
func showZero(e *env, a *setup.Prompter, text string) (string, error) {
	cfg, err := config.Parse("the configuration", []byte(text))
	if err != nil || cfg.Angle.Source != config.SourceEncoder || cfg.Angle.ZeroDeg != nil {
		return text, err
	}
	lines, _, err := setup.AskZero(a, func() (setup.Arm, func(), error) { return openSetupArm(e.ctx, cfg) })
	if err != nil {
		return "", err
	}
	_, before, found := strings.Cut(text, "\n[angle]\n")
	if !found || lines == "" {
		return text, nil
	}
	return strings.TrimSuffix(text, before) + lines + before, nil
}

// zeroAsked is said of an encoder whose zero is not written: it can be pointed only once the daemon reads it.
const zeroAsked = "Where 0 degrees of the encoder is, is not known yet. The first `tramd sweep` asks for it before it measures: " +
	"point the arm to the right, press; turn it towards the back, press. Until then a lean has a size and no direction, and there is no advice.\n"

// finder listens as `tramd identify` does, but never asks: nothing is written to a port whose owner is not known yet.
func finder(e *env) setup.Finder {
	return func(ctx context.Context, port string) (*setup.Found, error) {
		probe, err := serialport.OpenProbe(port)
		if err != nil {
			return nil, err
		}
		defer probe.Close()
		fmt.Fprintln(e.err, "Move the plunger slowly in and out by a millimetre or so, through zero, all the while.")
		s := &search{env: e, probe: probe, cmd: &identifyCmd{Port: port, Seconds: 3, Bauds: usualBauds}}
		f, found, err := s.listen()
		if err != nil || !found {
			return nil, err
		}
		return &setup.Found{Keys: f.Keys(), Channels: f.Channels, Notes: f.Notes}, nil
	}
}

// hider returns what keeps the typed characters off a terminal until they may be seen again; nil where in is none.
func hider(in io.Reader) func() (show func()) {
	f, ok := in.(*os.File)
	if !ok || !isTerminal(in) {
		return nil
	}
	return func() (show func()) {
		before, err := unix.IoctlGetTermios(int(f.Fd()), unix.TCGETS)
		if err != nil {
			return func() {}
		}
		hidden := *before
		hidden.Lflag &^= unix.ECHO
		hidden.Lflag |= unix.ECHONL
		if unix.IoctlSetTermios(int(f.Fd()), unix.TCSETS, &hidden) != nil {
			return func() {}
		}
		// a terminal that went away shows nothing
		return func() { _ = unix.IoctlSetTermios(int(f.Fd()), unix.TCSETS, before) }
	}
}

func inTheWay(file string) error {
	return fmt.Errorf("%s is there already and was left alone; write --force to replace it, or name another file", file)
}

// writeConfig puts a configuration in place whole or not at all.
func writeConfig(file, text string, force bool) error {
	f, err := os.CreateTemp(filepath.Dir(file), ".tramd-setup-*")
	if err != nil {
		return fmt.Errorf("cannot write %s: %w; name a file in a folder you may write, or use sudo", file, err)
	}
	defer os.Remove(f.Name()) // gone already when all went well
	_, err = f.WriteString(text)
	if err == nil {
		err = f.Chmod(0o640)
	}
	if err == nil {
		// The service's user reads it by its group, where the folder has that.
		if st, e := os.Stat(filepath.Dir(file)); e == nil && filepath.Dir(file) == "/etc/tramd" {
			err = chgrp(f, st)
		}
	}
	if err == nil {
		err = f.Sync() // a power cut leaves what was not synced empty
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return fmt.Errorf("cannot write %s: %w", file, err)
	}
	if force {
		err = os.Rename(f.Name(), file)
	} else {
		err = os.Link(f.Name(), file) // unlike renaming, never over a file that came meanwhile
	}
	if errors.Is(err, fs.ErrExist) {
		return inTheWay(file)
	}
	if err != nil {
		return fmt.Errorf("cannot write %s: %w", file, err)
	}
	if _, err := config.Load(file); err != nil {
		return fmt.Errorf("what was written does not read back: %w", err)
	}
	return nil
}

// recordPlace proposes where a machine's runs are kept: in the service's folder where there is one, else here.
func recordPlace(machine string) string {
	if _, err := os.Stat(stateDir); err == nil {
		return filepath.Join(stateDir, machine, "tramd.db") // the unit makes the folder
	}
	if dir, err := os.Getwd(); err == nil {
		return filepath.Join(dir, machine+".db")
	}
	return filepath.Join(stateDir, "tramd.db")
}

// hostName proposes a name for the machine; often the computer is called by it.
func hostName() string {
	name, err := os.Hostname()
	if err != nil || name == "" || name == "localhost" {
		return "linnet"
	}
	short, _, _ := strings.Cut(name, ".")
	return short
}

// chgrp gives a file the group of a folder.
func chgrp(f *os.File, folder os.FileInfo) error {
	st, ok := folder.Sys().(*syscall.Stat_t)
	if !ok {
		return nil
	}
	return f.Chown(-1, int(st.Gid))
}

func writable(dir string) bool { return unix.Access(dir, unix.W_OK) == nil }
