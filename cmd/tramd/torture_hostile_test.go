package main

import (
	"context"
	"crypto/tls"
	"fmt"
	"io"
	"net"
	"net/http"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/certs/certstest"
)

// forwarded gives an address that leads to the daemon's local socket.
func (s shop) forwarded(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			to, err := net.Dial("unix", s.socket)
			if err != nil {
				c.Close()
				continue
			}
			go func() { _, _ = io.Copy(to, c); to.Close() }()
			go func() { _, _ = io.Copy(c, to); c.Close() }()
		}
	}()
	return l.Addr().String()
}

// A hostile client on the shop's network does all at once what one can do without a password: headers that never end,
// questions whose long answers it never takes, and more of them than can be answered, guesses of the password, names
// that are not ours, requests from other pages, upgrades to protocols that are not spoken. Nothing may be lost, and
// nothing may grow without bound.
func tortureHostile(t *testing.T) {
	good := &socketed{name: t.TempDir() + "/good"}
	good.plug(t)
	t.Cleanup(good.pull)
	s := newShop(
		t, fmt.Sprintf("[[indicator]]\nname = \"arm\"\nport = %q\nradius_mm = 120.0\n[angle]\nsource = \"stations\"\n",
			good.name))
	ca := certstest.New(t, "shop")
	cert, key := ca.Issue("linnet", 1, time.Now().Add(time.Hour))
	certstest.Write(t, s.dir, map[string][]byte{"cert.pem": cert, "key.pem": key})
	s.edit(t, "[http]\n", fmt.Sprintf("[http]\ntls_cert = %q\ntls_key = %q\n", filepath.Join(s.dir, "cert.pem"),
		filepath.Join(s.dir, "key.pem")))
	s.givePassword(t)
	tenYears(t, filepath.Join(s.dir, "tramd.db"), 1000)
	s.daemon(t)
	waitState(t, s, "the port live", func(snap *api.Snapshot) bool { return live(snap) })
	page := s.page
	s.page = s.forwarded(t)
	before := holds(t, s)
	gauge := beginTally(t, s, good)

	until := time.Now().Add(time.Duration(much(3, 60)) * time.Second)
	var wg sync.WaitGroup
	var endless, untaken, guessed, heard, odd atomic.Int64
	ctx, cancel := context.WithDeadline(t.Context(), until)
	defer cancel()
	over := func() bool { return time.Now().After(until) }
	dial := func() *tls.Conn {
		d := &net.Dialer{Timeout: 5 * time.Second}
		c, err := tls.DialWithDialer(d, "tcp", page, ca.Client(nil, nil))
		if err != nil {
			return nil // turned away: there are too many
		}
		return c
	}
	for i := range 40 {
		wg.Go(func() { // a header that never ends
			for !over() {
				if c := dial(); c != nil {
					endless.Add(1)
					_, err := io.WriteString(c, "GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n")
					for err == nil && !over() {
						time.Sleep(200 * time.Millisecond)
						_, err = io.WriteString(c, "X: y\r\n")
					}
					c.Close()
				}
				time.Sleep(100 * time.Millisecond)
			}
		})
		wg.Go(func() { // long answers that are not taken
			for !over() {
				if c := dial(); c != nil {
					untaken.Add(1)
					fmt.Fprintf(c, "GET %s HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n",
						[]string{"/api/v1/runs?limit=500", "/api/v1/drift", "/job.html", "/api/v1/advice"}[i%4])
					time.Sleep(min(10*time.Second, time.Until(until)))
					c.Close()
				}
				time.Sleep(100 * time.Millisecond)
			}
		})
	}
	tr := &http.Transport{TLSClientConfig: ca.Client(nil, nil), MaxConnsPerHost: 40}
	cl := &http.Client{Transport: tr, Timeout: 30 * time.Second}
	send := func(method, path, body string, change func(*http.Request)) int {
		r, err := http.NewRequestWithContext(ctx, method, "https://"+page+path, strings.NewReader(body))
		if err != nil {
			panic(err) // the addresses are our own
		}
		if change != nil {
			change(r)
		}
		resp, err := cl.Do(r)
		if err != nil {
			return 0
		}
		_, _ = io.Copy(io.Discard, resp.Body)
		resp.Body.Close()
		return resp.StatusCode
	}
	for range 100 {
		wg.Go(func() { // more questions than can be answered
			for !over() {
				if send("GET", "/api/v1/runs?limit=500", "", nil) == http.StatusOK {
					odd.Add(1)
				}
			}
		})
	}
	for range 8 {
		wg.Go(func() { // the password
			for n := 0; !over(); n++ {
				switch send("POST", "/api/v1/login", fmt.Sprintf(`{"password":"guess %d"}`, n), nil) {
				case http.StatusUnauthorized:
					heard.Add(1)
				case http.StatusOK:
					t.Error("a guess was right")
				}
				guessed.Add(1)
			}
		})
	}
	wg.Go(func() {
		for !over() {
			for what, got := range map[string][2]int{
				"another name": {send("GET", "/", "", func(r *http.Request) { r.Host = "evil.example" }),
					http.StatusMisdirectedRequest},
				"from another page": {
					send("POST", "/api/v1/sweeps", "{}", func(r *http.Request) {
						r.Header.Set("Origin", "https://evil.example")
					}), http.StatusForbidden},
				"without a login": {send("POST", "/api/v1/sweeps", "{}", nil), http.StatusUnauthorized},
				"a large header": {
					send("GET", "/", "", func(r *http.Request) {
						r.Header.Set("X-Large", strings.Repeat("x", 100<<10))
					}), http.StatusRequestHeaderFieldsTooLarge},
				"a body of a megabyte": {send("POST", "/api/v1/login", `{"password":"`+strings.Repeat("x", 1<<20)+`"}`,
					nil), http.StatusRequestEntityTooLarge},
				"to another protocol": {send("GET", "/api/v1/live/socket", "", func(r *http.Request) {
					r.Header.Set("Upgrade", "websocket")
				}), http.StatusNotFound},
			} {
				if got[0] != got[1] && got[0] != 0 && got[0] != http.StatusServiceUnavailable {
					t.Errorf("%s: %d, want %d", what, got[0], got[1])
				}
			}
		}
	})
	most := before
	for !over() {
		time.Sleep(500 * time.Millisecond)
		f := holds(t, s)
		most.rssKB, most.fds, most.goroutines = max(most.rssKB, f.rssKB), max(most.fds, f.fds),
			max(most.goroutines, f.goroutines)
	}
	wg.Wait()
	tr.CloseIdleConnections()
	tally := gauge()
	if endless.Load() < 20 || untaken.Load() < 20 || guessed.Load() == 0 {
		t.Errorf("hardly hostile: %d endless headers, %d answers not taken, %d guesses", endless.Load(), untaken.Load(),
			guessed.Load())
	}
	if most.rssKB > before.rssKB+100_000*memoryFactor || heard.Load() > int64(7+much(3, 60)/12) {
		t.Errorf("before %+v, at most %+v; %d of %d guesses were heard", before, most, heard.Load(), guessed.Load())
	}
	cameOf(
		"a hostile client: endless headers, answers never taken, questions in bulk, guesses, other names, other pages",
		"in %d s %d endless headers, %d answers not taken, %d long answers, %d guesses of which %d were heard; the port: %s; resident %.1f MB before, at most %.1f; open files at most %d, goroutines %d",
		much(3, 60), endless.Load(), untaken.Load(), odd.Load(), guessed.Load(), heard.Load(), tally, mb(before),
		mb(most), most.fds, most.goroutines)
}
