package peerlimit

import (
	"net/netip"
	"strings"
)

// Loopback reports whether the host part of an address means this machine alone: a name for it, or an address
// of either family in any of its forms, in brackets or not, with a zone or not.
func Loopback(host string) bool {
	if h, ok := strings.CutPrefix(host, "["); ok {
		host = strings.TrimSuffix(h, "]")
	}
	switch strings.ToLower(strings.TrimSuffix(host, ".")) {
	case "localhost", "ip6-localhost", "ip6-loopback":
		return true
	}
	a, err := netip.ParseAddr(host)
	return err == nil && isLoopback(a)
}

// isLoopback also knows an IPv4 address that is written as one of IPv6.
func isLoopback(a netip.Addr) bool { return a.Unmap().IsLoopback() }
