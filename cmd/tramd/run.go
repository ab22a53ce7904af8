package main

import (
	"net"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"

	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/daemon"
	"tramd/cmd/tramd/internal/notify"
	_ "tramd/cmd/tramd/internal/slack"
	"tramd/sweep/mixed"
)

type runCmd struct {
	configFlag
}

// Run keeps the daemon going until a signal ends it; a hang-up signal makes it read its configuration again.
func (c *runCmd) Run(e *env) error {
	load := func() (*config.Config, error) { return c.load(e) }
	cfg, err := load()
	if err != nil {
		return err
	}
	manager, err := notify.FromEnvironment()
	if err != nil {
		return err
	}
	reload := make(chan os.Signal, 1)
	signal.Notify(reload, syscall.SIGHUP)
	defer signal.Stop(reload)
	tuneMemory()
	var look lastLook
	defer onAbort(e.log, &look, os.Exit)()
	return daemon.Run(e.ctx, cfg, daemon.Options{
		Version: version, Log: e.log, Fit: mixed.FitWith, Manager: manager, Reload: reload, Load: load,
		Looked: look.found,
		Ready:  func(net.Addr) { showPage(e.err, cfg) },
	})
}

// tuneMemory trades a little processor time for a small footprint: the daemon allocates little while it measures, and
// shares a small computer with others. The person's own GOGC or GOMEMLIMIT come first.
func tuneMemory() {
	if os.Getenv("GOGC") == "" && os.Getenv("GOMEMLIMIT") == "" {
		debug.SetGCPercent(40)
	}
}
