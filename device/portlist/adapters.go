package portlist

import (
	"fmt"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
)

// Roots are the places looked at. The zero value is this machine.
type Roots struct {
	Sys  string // "" = /sys
	Dev  string // "" = /dev
	Proc string // "" = /proc
}

func (r Roots) withDefaults() Roots {
	for _, x := range []struct {
		at    *string
		usual string
	}{{&r.Sys, "/sys"}, {&r.Dev, "/dev"}, {&r.Proc, "/proc"}} {
		if *x.at == "" {
			*x.at = x.usual
		}
	}
	return r
}

// Port is one serial port.
type Port struct {
	Name      string    `json:"name"`              // what a configuration should say: the most lasting name there is
	Node      string    `json:"node"`              // the device node; may change at every replug
	ByID      string    `json:"by_id,omitempty"`   // by vendor, model and serial number
	ByPath    string    `json:"by_path,omitempty"` // by the socket it is plugged into
	USB       *USB      `json:"usb,omitempty"`     // nil: a port of the board itself
	Driver    string    `json:"driver,omitempty"`
	LatencyMS *int      `json:"latency_ms,omitempty"` // how long the adapter gathers bytes; nil: it has no such setting
	Console   bool      `json:"console,omitempty"`    // the kernel writes its messages to it
	OpenBy    []Process `json:"open_by"`              // who has it open, as far as could be seen
	Hidden    int       `json:"hidden_processes"`     // processes whose open files may not be looked at
	Notes     []Note    `json:"notes,omitempty"`
}

// USB is what an adapter says of itself.
type USB struct {
	Vendor       string `json:"vendor_id"` // four hexadecimal digits
	Product      string `json:"product_id"`
	Serial       string `json:"serial,omitempty"`
	Manufacturer string `json:"manufacturer,omitempty"`
	Model        string `json:"model,omitempty"`
	// two hexadecimal digits; an adapter with several lines has several
	Interface string `json:"interface,omitempty"`
	Line      string `json:"line,omitempty"` // number of the line within the interface
	Path      string `json:"path"`           // bus and sockets, as the kernel names them: 1-1.2
}

// Note is something to know about a port, with what to do about it.
type Note struct {
	Code string `json:"code"`
	Text string `json:"text"`
}

// List returns every serial port, sorted by node.
func List(r Roots) ([]Port, error) {
	r = r.withDefaults()
	class := filepath.Join(r.Sys, "class/tty")
	entries, err := os.ReadDir(class)
	if err != nil {
		return nil,
			fmt.Errorf(
				"cannot list serial ports: %w; tramd looks for them in the kernel's own listing, which must be mounted",
				err)
	}
	var ports []Port
	consoles := consoles(r)
	for _, e := range entries {
		if p, ok := look(r, filepath.Join(class, e.Name()), e.Name()); ok {
			for _, c := range consoles {
				p.Console = p.Console || c == e.Name()
			}
			ports = append(ports, p)
		}
	}
	sort.Slice(ports, func(i, j int) bool { return before(ports[i].Node, ports[j].Node) })
	name(r, ports)
	openers(r, ports)
	for i := range ports {
		ports[i].Notes = notes(ports, i)
	}
	return ports, nil
}

// consoles lists the terminals that the kernel writes its messages to, by node: those in use now, and those its command
// line names, since an adapter that is plugged in later becomes one too.
func consoles(r Roots) []string {
	out := strings.Fields(attribute(filepath.Join(r.Sys, "class/tty/console/active")))
	for _, word := range strings.Fields(attribute(filepath.Join(r.Proc, "cmdline"))) {
		if name, ok := strings.CutPrefix(word, "console="); ok {
			name, _, _ = strings.Cut(name, ",") // what follows is its speed
			out = append(out, strings.TrimPrefix(name, "/dev/"))
		}
	}
	return out
}

// look reads one entry of the class. Consoles and terminals of windows have no device behind them.
func look(r Roots, dir, node string) (Port, bool) {
	real, err := filepath.EvalSymlinks(filepath.Join(dir, "device"))
	if err != nil {
		return Port{}, false
	}
	// The kernel reserves names for built-in ports the board does not have; their type is 0, unknown.
	if attribute(filepath.Join(dir, "type")) == "0" {
		return Port{}, false
	}
	p := Port{Node: filepath.Join(r.Dev, node), OpenBy: []Process{}}
	if driver, err := os.Readlink(filepath.Join(real, "driver")); err == nil {
		p.Driver = filepath.Base(driver)
	}
	if ms, err := strconv.Atoi(attribute(filepath.Join(real, "latency_timer"))); err == nil {
		p.LatencyMS = &ms
	}
	p.USB = usbAbove(r, real)
	return p, true
}

// usbAbove climbs from a port's device to the USB device it belongs to, past its interface.
func usbAbove(r Roots, dir string) *USB {
	var u USB
	top, err := filepath.EvalSymlinks(r.Sys)
	if err != nil {
		return nil
	}
	for ; len(dir) > len(top); dir = filepath.Dir(dir) {
		if u.Line == "" {
			u.Line = attribute(filepath.Join(dir, "port_number"))
		}
		if u.Interface == "" {
			u.Interface = attribute(filepath.Join(dir, "bInterfaceNumber"))
		}
		if v := attribute(filepath.Join(dir, "idVendor")); v != "" {
			u.Vendor, u.Product = v, attribute(filepath.Join(dir, "idProduct"))
			u.Serial = attribute(filepath.Join(dir, "serial"))
			u.Manufacturer, u.Model = attribute(filepath.Join(dir, "manufacturer")),
				attribute(filepath.Join(dir, "product"))
			u.Path = filepath.Base(dir)
			return &u
		}
	}
	return nil
}

// before sorts ttyUSB2 before ttyUSB10.
func before(a, b string) bool {
	stemA, stemB := strings.TrimRight(a, "0123456789"), strings.TrimRight(b, "0123456789")
	if stemA != stemB || len(a) == len(b) {
		return a < b
	}
	return len(a) < len(b)
}
