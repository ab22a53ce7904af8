package portlist

import (
	"os"
	"path/filepath"
)

// name gives each port the most lasting name it has. The name by identity wins, since it follows an adapter to another
// socket; but two adapters that say the same of themselves share one such name, and udev points it at either of them.
// They can be told apart by their sockets only.
func name(r Roots, ports []Port) {
	byID, byPath := links(r, "serial/by-id"), links(r, "serial/by-path")
	for i := range ports {
		p := &ports[i]
		p.ByID, p.ByPath = byID[p.Node], byPath[p.Node]
	}
	for i := range ports {
		p := &ports[i]
		switch {
		case p.ByID != "" && !hasTwin(ports, i):
			p.Name = p.ByID
		case p.ByPath != "":
			p.Name = p.ByPath
		default:
			p.Name = p.Node
		}
	}
}

// links maps a device node to the link to it in a folder of udev's; the shortest where there are several.
func links(r Roots, folder string) map[string]string {
	out := map[string]string{}
	dir := filepath.Join(r.Dev, folder)
	entries, err := os.ReadDir(dir)
	if err != nil {
		return out // no adapter is plugged in, or the system makes no such names
	}
	for _, e := range entries {
		link := filepath.Join(dir, e.Name())
		to, err := os.Readlink(link)
		if err != nil {
			continue
		}
		if !filepath.IsAbs(to) {
			to = filepath.Join(dir, to)
		}
		if have, ok := out[to]; !ok || len(link) < len(have) {
			out[to] = link
		}
	}
	return out
}

// hasTwin reports whether another adapter says exactly the same of itself.
func hasTwin(ports []Port, i int) bool {
	a := ports[i].USB
	for j := range ports {
		b := ports[j].USB
		if j != i && a != nil && b != nil && a.Path != b.Path &&
			a.Vendor == b.Vendor && a.Product == b.Product && a.Serial == b.Serial && a.Interface == b.Interface &&
			a.Line == b.Line {
			return true
		}
	}
	return false
}
