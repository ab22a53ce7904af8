package daemon

import (
	"net"
	"net/netip"
	"sync"

	"tramd/cmd/tramd/internal/shares"
)

// Connections to the page. The unit allows 1,024 descriptors, and ports, the record and the certificates must be opened
// again at any time, whatever the network does. One address is held to fewer, so that a guest leaves room for the phone
// beside the machine; this machine itself is not, since a proxy speaks for many.
const (
	maxConnections = 512
	maxFromOne     = 64
)

// limited is a listener that closes what is too much at once.
type limited struct {
	net.Listener
	shares *shares.Shares
}

func newLimited(l net.Listener) *limited {
	return &limited{Listener: l, shares: shares.New(maxConnections, maxFromOne)}
}

func (l *limited) Accept() (net.Conn, error) {
	for {
		c, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		from := caller(c)
		if !l.shares.Enter(from, from.IsLoopback()) {
			_ = c.Close() // nothing was said on it yet
			continue
		}
		return &counted{Conn: c, leave: func() { l.shares.Leave(from) }}, nil
	}
}

// caller is the address connections are counted by. One IPv6 host commands a whole /64.
func caller(c net.Conn) netip.Addr {
	ap, err := netip.ParseAddrPort(c.RemoteAddr().String())
	if err != nil {
		return netip.Addr{}
	}
	a := ap.Addr().Unmap().WithZone("")
	if p, err := a.Prefix(64); a.Is6() && !a.IsLoopback() && err == nil {
		return p.Addr()
	}
	return a
}

// counted gives its place back when it is closed, once.
type counted struct {
	net.Conn
	once  sync.Once
	leave func()
}

func (c *counted) Close() error {
	err := c.Conn.Close()
	c.once.Do(c.leave)
	return err
}
