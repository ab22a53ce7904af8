package portlist

import "fmt"

// SlowLatencyMS is the time an adapter may gather bytes before a reading's time suffers: an encoder read through it
// lags by as much, and the spindle turns on meanwhile.
const SlowLatencyMS = 2

// notes says what there is to know about a port before it is used.
func notes(ports []Port, i int) []Note {
	p := ports[i]
	var out []Note
	add := func(code, format string, args ...any) {
		out = append(out, Note{code, fmt.Sprintf(format, args...)})
	}
	if p.USB != nil {
		switch {
		case hasTwin(ports, i) && p.ByPath != "":
			add(
				"twin",
				"another adapter says the same of itself, so the name by-id may mean either; write the name by-path and leave each in its socket")
		case hasTwin(ports, i):
			add(
				"twin",
				"another adapter says the same of itself, and udev gives no name by socket; use an adapter with a serial number of its own")
		case p.ByID == "" && p.ByPath == "":
			add("no-stable-name",
				"udev made no lasting name for it, and %s may change at every replug; see that udev runs (systemctl status systemd-udevd)", p.Node)
		case p.ByID == "":
			add("by-socket", "it has a name by its socket only; leave it in that socket")
		case p.USB.Serial == "":
			add("no-serial", "it has no serial number: a second adapter of this kind would claim the same name")
		}
	}
	if p.LatencyMS != nil && *p.LatencyMS > SlowLatencyMS {
		add(
			"latency",
			"gathers bytes for %d ms before it sends them; set 1 ms by udev: ACTION==\"add\", SUBSYSTEM==\"usb-serial\", ATTR{latency_timer}=\"1\" (the package does), then replug", *p.LatencyMS)
	}
	if p.Console {
		add(
			"console",
			"the kernel writes its messages to this port; take console=... off the kernel's command line before an instrument is put on it")
	}
	return out
}
