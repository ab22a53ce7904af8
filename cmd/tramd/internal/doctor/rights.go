package doctor

import (
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"tramd/device/portlist"
)

// serialGroup is the group Debian's udev gives serial ports to (50-udev-default.rules of systemd 252).
const serialGroup = "dialout"

// serviceGroup may use the packaged daemon's socket, and so steer it without a password.
const serviceGroup = "tramd"

func (e *examination) rights() {
	members, known := groupMembers(e.m.at("/etc/group"), serialGroup)
	switch {
	case e.m.UID == 0:
		e.add("user", Unknown, "look again as that user: sudo -u tramd tramd doctor --config FILE",
			"looked at as root, who may open everything; what the daemon's own user may was not tried")
	case slices.Contains(e.m.Groups, serialGroup):
		e.ok("user", "%s is in the group %s", e.m.User, serialGroup)
	case slices.Contains(members, e.m.User):
		e.wrong("user", "log out and in again, or for this shell: newgrp "+serialGroup,
			"%s was put into the group %s, but logged in before that", e.m.User, serialGroup)
	default:
		e.wrong("user", "sudo usermod -aG "+serialGroup+" "+e.m.User+", then log in again",
			"%s is not in the group %s and cannot open serial ports", e.m.User, serialGroup)
	}
	if _, err := os.Stat(e.m.at("/usr/lib/systemd/system/tramd@.service")); err != nil {
		return
	}
	if known && !slices.Contains(members, "tramd") {
		e.wrong("service user", "sudo usermod -aG "+serialGroup+" tramd, then restart the service",
			"the service's user tramd is not in the group %s", serialGroup)
	}
	if e.m.UID != 0 && !slices.Contains(e.m.Groups, serviceGroup) {
		e.warn("service group", "sudo usermod -aG "+serviceGroup+" "+e.m.User+", then log in again",
			"%s is not in the group %s: the service's daemon answers to sudo only, for tramd sweep, watch and event",
			e.m.User, serviceGroup)
	}
}

func groupMembers(file, group string) ([]string, bool) {
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, false
	}
	for line := range strings.Lines(string(text)) {
		f := strings.Split(strings.TrimSpace(line), ":")
		if len(f) == 4 && f[0] == group {
			return strings.Split(f[3], ","), true
		}
	}
	return nil, false
}

// udev reports whether lasting names and short latency timers are made here.
func (e *examination) udev(ports []portlist.Port) {
	if _, err := os.Stat(e.m.at("/run/udev/control")); err != nil {
		e.wrong("udev", "sudo systemctl start systemd-udevd",
			"udev does not run: adapters get no lasting names, and ports no group")
	} else {
		e.ok("udev", "udev runs")
	}
	slow := 0
	for _, p := range ports {
		for _, n := range p.Notes {
			switch n.Code {
			case "latency":
				slow++
				e.warn(
					"latency",
					"install the package's rule 70-tramd.rules and replug, or once: echo 1 | sudo tee /sys/class/tty/"+
						filepath.Base(p.Node)+"/device/latency_timer",
					"%s gathers bytes for %d ms: angles read through it lag", p.Name, *p.LatencyMS)
			case "twin", "no-stable-name":
				e.warn("names", "", "%s: %s", p.Node, n.Text)
			}
		}
	}
	if slow == 0 {
		e.ok("latency", "no adapter gathers bytes longer than %d ms", portlist.SlowLatencyMS)
	}
}

// rivals are programs known to open every new serial port and to talk to what is behind it.
func (e *examination) rivals() {
	entries, err := os.ReadDir(e.m.at("/proc"))
	if err != nil {
		return
	}
	for _, p := range entries {
		if _, err := strconv.Atoi(p.Name()); err != nil {
			continue
		}
		text, err := os.ReadFile(e.m.at("/proc/" + p.Name() + "/comm"))
		if err != nil {
			continue
		}
		switch name := strings.TrimSpace(string(text)); name {
		case "ModemManager", "brltty":
			e.warn("rivals", "sudo systemctl disable --now "+strings.ToLower(name)+
				" if nothing here needs it, or keep it off the adapter by the rule shown in 70-tramd.rules",
				"%s runs (pid %s): it may talk to new serial ports and confuse an instrument", name, p.Name())
		}
	}
}
