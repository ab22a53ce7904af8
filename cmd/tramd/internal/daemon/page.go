package daemon

import "os"

// page is the address at which people find the machine's page; empty where it is not known.
func (d *Daemon) page() string {
	name, err := os.Hostname()
	if err != nil {
		name = ""
	}
	return d.cfg.PageAt(name)
}
