package daemon

import (
	"net"
	"sync"

	"tramd/cmd/tramd/internal/peerlimit"
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
	limit *peerlimit.Limit
}

func newLimited(l net.Listener) *limited {
	return &limited{Listener: l, limit: peerlimit.New(maxConnections, maxFromOne)}
}

func (l *limited) Accept() (net.Conn, error) {
	for {
		c, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		from := peerlimit.Peer(c.RemoteAddr().String())
		if !l.limit.Enter(from) {
			_ = c.Close() // nothing was said on it yet
			continue
		}
		return &counted{Conn: c, leave: func() { l.limit.Leave(from) }}, nil
	}
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
