package portlist

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"
)

// Process is a running program.
type Process struct {
	PID  int    `json:"pid"`
	Name string `json:"name,omitempty"`
}

// openers finds who has each port open: by every process's open files, as far as they may be seen, and by the locks on
// the nodes, which everybody may see and which a daemon of ours always holds.
func openers(r Roots, ports []Port) {
	at := map[string]int{}
	for i := range ports {
		at[ports[i].Node] = i
	}
	hidden := 0
	entries, err := os.ReadDir(r.Proc)
	if err != nil {
		hidden = 1
	}
	for _, e := range entries {
		pid, err := strconv.Atoi(e.Name())
		if err != nil {
			continue
		}
		fds, err := os.ReadDir(filepath.Join(r.Proc, e.Name(), "fd"))
		if os.IsPermission(err) {
			hidden++
		}
		for _, fd := range fds {
			to, err := os.Readlink(filepath.Join(r.Proc, e.Name(), "fd", fd.Name()))
			if i, ok := at[to]; err == nil && ok {
				ports[i].open(r, pid)
			}
		}
	}
	locks := holders(r)
	for i := range ports {
		ports[i].Hidden = hidden
		var st unix.Stat_t
		if unix.Stat(ports[i].Node, &st) != nil {
			continue
		}
		// Device numbers are as wide as the platform likes; the kernel's listing has them in hexadecimal.
		dev := uint64(st.Dev)
		for _, pid := range locks[fmt.Sprintf("%02x:%02x:%d", unix.Major(dev), unix.Minor(dev), st.Ino)] {
			ports[i].open(r, pid)
		}
	}
}

// open notes an opener once.
func (p *Port) open(r Roots, pid int) {
	for _, have := range p.OpenBy {
		if have.PID == pid {
			return
		}
	}
	p.OpenBy = append(p.OpenBy, Process{pid, attribute(filepath.Join(r.Proc, strconv.Itoa(pid), "comm"))})
	slices.SortFunc(p.OpenBy, func(a, b Process) int { return a.PID - b.PID })
}

// holders reads the kernel's list of locks (proc(5), /proc/locks): place of the file to the processes that hold one. A
// lock of a process that cannot be seen from here has no number and is left out.
func holders(r Roots) map[string][]int {
	out := map[string][]int{}
	text, err := os.ReadFile(filepath.Join(r.Proc, "locks"))
	if err != nil {
		return out
	}
	for line := range strings.Lines(string(text)) {
		f := strings.Fields(line)
		if len(f) < 6 || f[1] == "->" { // an arrow marks one that waits
			continue
		}
		if pid, err := strconv.Atoi(f[4]); err == nil && pid > 0 {
			out[f[5]] = append(out[f[5]], pid)
		}
	}
	return out
}
