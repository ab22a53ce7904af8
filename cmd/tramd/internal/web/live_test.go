package web

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
)

// counting gives snapshots that are numbered in Sweep.Readings, each padded to about size bytes.
func counting(size int) *liveFunc {
	var n atomic.Int64
	pad := strings.Repeat("x", size)
	return &liveFunc{ask: func() (*api.Snapshot, error) {
		return &api.Snapshot{Machine: "linnet", Sweep: api.SweepState{Phase: api.PhaseTurning,
			Readings: int(n.Add(1)), Say: pad,
			Curve: []api.CurvePoint{{Deg: 1, MM: 1.5}}}}, nil
	}}
}

// serve runs h on a real port with small buffers, so that a client that does not read is felt soon.
func serve(t *testing.T, h http.Handler) *httptest.Server {
	t.Helper()
	srv := httptest.NewUnstartedServer(h)
	// As a careless server would have; streams must outlive them.
	srv.Config.WriteTimeout, srv.Config.ReadTimeout = 400*time.Millisecond, 400*time.Millisecond
	srv.Config.ConnContext = func(ctx context.Context, c net.Conn) context.Context {
		if err := c.(*net.TCPConn).SetWriteBuffer(4 << 10); err != nil {
			t.Error(err)
		}
		return ctx
	}
	srv.Start()
	t.Cleanup(srv.Close)
	return srv
}

type listener struct {
	conn net.Conn
	in   *bufio.Reader
	code int
}

// listen opens a stream by hand on its own connection.
func listen(t *testing.T, srv *httptest.Server) *listener {
	t.Helper()
	c, err := net.Dial("tcp", srv.Listener.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	if err := c.(*net.TCPConn).SetReadBuffer(4 << 10); err != nil {
		t.Fatal(err)
	}
	fmt.Fprintf(c, "GET /api/v1/live HTTP/1.1\r\nHost: localhost\r\n\r\n")
	in := bufio.NewReader(c)
	resp, err := http.ReadResponse(in, nil)
	if err != nil {
		t.Fatal(err)
	}
	return &listener{conn: c, in: bufio.NewReader(resp.Body), code: resp.StatusCode}
}

// next gives the next event of the name.
func (l *listener) next(name string) (string, error) {
	_ = l.conn.SetReadDeadline(time.Now().Add(5 * time.Second))
	for want := false; ; {
		line, err := l.in.ReadString('\n')
		if err != nil {
			return "", err
		}
		line = strings.TrimSuffix(line, "\n")
		if data, ok := strings.CutPrefix(line, "data: "); ok && want {
			return data, nil
		}
		if event, ok := strings.CutPrefix(line, "event: "); ok {
			want = event == name
		}
	}
}

func (l *listener) number(t *testing.T) int {
	t.Helper()
	data, err := l.next("state")
	if err != nil {
		t.Fatal(err)
	}
	var s api.Snapshot
	if err := json.Unmarshal([]byte(data), &s); err != nil {
		t.Fatalf("%v in %.80s", err, data)
	}
	if s.Sweep.Curve != nil {
		t.Error("the state carries the curve")
	}
	return s.Sweep.Readings
}

func TestStreamCarriesStateAndCurve(t *testing.T) {
	t.Parallel()
	srv := serve(t, Handler(Options{Live: counting(0)}))
	l := listen(t, srv)
	data, err := l.next("curve")
	if err != nil || !strings.Contains(data, `"points":[{"deg":1,"mm":1.5,"indicator":0}]`) {
		t.Fatalf("curve: %v %s", err, data)
	}
	begun, first := time.Now(), l.number(t)
	last := first
	for time.Since(begun) < 800*time.Millisecond { // longer than the server's own write time-out
		n := l.number(t)
		if n <= last {
			t.Fatalf("state %d after %d", n, last)
		}
		last = n
	}
	if rate := float64(last-first) / time.Since(begun).Seconds(); rate > 20 {
		t.Errorf("%.0f snapshots a second", rate)
	}
}

func TestOnePollerForAllAndNoneWithoutClients(t *testing.T) {
	t.Parallel()
	live := counting(0)
	srv := serve(t, Handler(Options{Live: live}))
	time.Sleep(150 * time.Millisecond)
	if n := live.asked.Load(); n != 0 {
		t.Fatalf("asked %d times without a client", n)
	}
	var all []*listener
	for range 10 {
		all = append(all, listen(t, srv))
	}
	begun, before := time.Now(), live.asked.Load()
	time.Sleep(time.Second)
	if n := live.asked.Load() - before; n == 0 || float64(n)/time.Since(begun).Seconds() > 20 {
		t.Errorf("ten clients: asked %d times in %v", n, time.Since(begun))
	}
	for _, l := range all {
		l.conn.Close()
	}
	quiet(t, live)
	if listen(t, srv).number(t) == 0 {
		t.Error("no news after coming back")
	}
}

// quiet waits until the poller has ended: nothing is asked for half a second.
func quiet(t *testing.T, live *liveFunc) {
	t.Helper()
	for end := time.Now().Add(time.Minute); time.Now().Before(end); {
		n := live.asked.Load()
		time.Sleep(500 * time.Millisecond)
		if live.asked.Load() == n {
			return
		}
	}
	t.Error("the poller goes on without a client")
}

func TestSlowClientGetsTheNewest(t *testing.T) {
	t.Parallel()
	live := counting(24 << 10)
	srv := serve(t, Handler(Options{Live: live}))
	slow := listen(t, srv)
	first := slow.number(t)
	asked := int64(0) // while it reads nothing
	for end := time.Now().Add(time.Minute); asked < int64(first)+20; asked = live.asked.Load() {
		if time.Now().After(end) {
			t.Fatalf("a client that does not read held up the poller: %d snapshots", asked)
		}
		time.Sleep(20 * time.Millisecond)
	}
	old := 0 // states from before the pause ended, which were on their way already
	last := first
	for last < int(asked) {
		last = slow.number(t)
		old++
	}
	if old > 8 {
		t.Errorf("after the pause the client was sent %d states in a row, of %d", old, asked)
	}
	t.Logf("%d of %d states reached the slow client", old, asked)
}

func TestHopelessClientIsLetGo(t *testing.T) {
	t.Parallel()
	live := counting(24 << 10)
	s := newServer(Options{Live: live})
	s.timeout = 300 * time.Millisecond
	srv := serve(t, s.handler())
	listen(t, srv).number(t)
	quiet(t, live) // it never reads again, and its stream ends
}

func TestThirtyThirdClientIsRefused(t *testing.T) {
	t.Parallel()
	srv := serve(t, Handler(Options{Live: counting(0)}))
	var all []*listener
	for i := range maxClients {
		l := listen(t, srv)
		if l.code != 200 {
			t.Fatalf("client %d: %d", i+1, l.code)
		}
		all = append(all, l)
	}
	over := listen(t, srv)
	text, _ := over.in.ReadString('\n')
	if over.code != 503 || !strings.Contains(text, "too many pages") {
		t.Fatalf("client %d: %d %s", maxClients+1, over.code, text)
	}
	all[3].conn.Close()
	for range 50 {
		if listen(t, srv).code == 200 {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Error("the place of one that left stays taken")
}

func TestShutdownEndsStreams(t *testing.T) {
	t.Parallel()
	done := make(chan struct{})
	srv := serve(t, Handler(Options{Live: counting(0), Done: done}))
	srv.Config.RegisterOnShutdown(func() { close(done) })
	l := listen(t, srv)
	l.number(t)
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	if err := srv.Config.Shutdown(ctx); err != nil {
		t.Fatalf("the server could not shut down: %v", err)
	}
	for {
		if _, err := l.next("state"); err != nil {
			if ne, ok := err.(net.Error); ok && ne.Timeout() {
				t.Error("the stream stayed open")
			}
			return
		}
	}
}

func TestStreamWithoutState(t *testing.T) {
	t.Parallel()
	live := &liveFunc{ask: func() (*api.Snapshot, error) { return nil, fmt.Errorf("the session has ended") }}
	srv := serve(t, Handler(Options{Live: live}))
	if l := listen(t, srv); l.code != 200 {
		t.Fatalf("got %d", l.code)
	}
	for end := time.Now().Add(time.Minute); live.asked.Load() < 2; time.Sleep(10 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("gave up asking")
		}
	}
}
