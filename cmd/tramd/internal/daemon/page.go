package daemon

import (
	"os"

	"tramd/cmd/tramd/internal/config"
)

// PageOf returns the address at which people find the machine's page; empty where it is not known, or where no other
// computer can reach it.
func PageOf(cfg *config.Config) string {
	name, err := os.Hostname()
	if err != nil {
		name = ""
	}
	return cfg.PageAt(name)
}

func (d *Daemon) page() string { return PageOf(d.cfg) }
