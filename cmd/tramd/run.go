package main

import (
	"os"
	"runtime/debug"

	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/daemon"
	"tramd/sweep/mixed"
)

type runCmd struct {
	Config string `required:"" placeholder:"FILE" help:"Configuration (TOML)."`
}

func (c *runCmd) Run(e *env) error {
	cfg, err := config.Load(c.Config)
	if err != nil {
		return err
	}
	tuneMemory()
	return daemon.Run(e.ctx, cfg, daemon.Options{Version: version, Log: e.log, Fit: mixed.FitWith})
}

// tuneMemory trades a little processor time for a small footprint: the daemon allocates little while it measures, and
// shares a small computer with others. The person's own GOGC or GOMEMLIMIT come first.
func tuneMemory() {
	if os.Getenv("GOGC") == "" && os.Getenv("GOMEMLIMIT") == "" {
		debug.SetGCPercent(40)
	}
}
