package daemon

import (
	"errors"
	"net"
	"net/netip"
	"sync"
	"testing"
)

// crowd is a listener to which whoever the test says has come.
type crowd struct{ come chan net.Addr }

type caught struct {
	net.Conn
	from   net.Addr
	closed chan struct{}
	once   sync.Once
}

func (c *caught) RemoteAddr() net.Addr { return c.from }
func (c *caught) Close() error         { c.once.Do(func() { close(c.closed) }); return nil }

func (c *crowd) Accept() (net.Conn, error) {
	from, ok := <-c.come
	if !ok {
		return nil, errors.New("closed")
	}
	return &caught{from: from, closed: make(chan struct{})}, nil
}
func (c *crowd) Close() error   { return nil }
func (c *crowd) Addr() net.Addr { return &net.TCPAddr{} }

func TestConnectionsAreLimitedInAllAndFromOneAddress(t *testing.T) {
	c := &crowd{come: make(chan net.Addr, 4096)}
	l := newLimited(c)
	come := func(addr string, n int) (in []net.Conn) {
		t.Helper()
		for range n {
			c.come <- &net.TCPAddr{IP: net.ParseIP(addr), Port: 4000}
		}
		c.come <- &net.TCPAddr{IP: net.ParseIP("127.0.0.1"), Port: 1} // marks the end
		for {
			conn, err := l.Accept()
			if err != nil {
				t.Fatal(err)
			}
			if conn.RemoteAddr().(*net.TCPAddr).Port == 1 {
				conn.Close()
				return in
			}
			in = append(in, conn)
		}
	}
	guests := come("192.168.7.66", 100)
	if len(guests) != maxFromOne {
		t.Fatalf("one address got %d connections, want %d", len(guests), maxFromOne)
	}
	if n := len(come("192.168.7.20", 1)); n != 1 {
		t.Error("another address got none")
	}
	if n := len(come("2001:db8::1", 40)) + len(come("2001:db8::2", 40)); n != maxFromOne {
		t.Errorf("two addresses of one network got %d, want %d", n, maxFromOne)
	}
	guests[0].Close()
	guests[0].Close() // gives its place back once only
	if n := len(come("192.168.7.66", 5)); n != 1 {
		t.Errorf("one place was free, %d got in", n)
	}
	mine := come("127.0.0.1", maxConnections-2*maxFromOne-2)
	if len(mine) != maxConnections-2*maxFromOne-2 {
		t.Errorf("this machine got %d", len(mine))
	}
	mine[0].Close()
	for _, x := range append(mine[1:], guests[1:]...) {
		x.Close()
	}
}

func TestConnectionsOverAllAreClosed(t *testing.T) {
	inner, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	l := newLimited(inner)
	defer l.Close()
	for range maxConnections - 1 {
		if here := netip.IPv6Loopback(); !l.limit.Enter(here) {
			t.Fatal("there was no room yet")
		}
	}
	got := make(chan net.Conn, 2)
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			got <- c
		}
	}()
	dial := func() net.Conn {
		c, err := net.Dial("tcp", l.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { c.Close() })
		return c
	}
	dial()
	first := <-got
	if n, err := dial().Read(make([]byte, 1)); n != 0 || err == nil {
		t.Errorf("one too many was not closed: %d, %v", n, err)
	}
	first.Close()
	dial()
	(<-got).Close()
}
