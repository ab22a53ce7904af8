package main

import (
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"net"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"

	"github.com/creack/pty"
)

// One port sends garbage as fast as it is taken; the other must not notice.
func tortureGarbage(t *testing.T) {
	good := &socketed{name: t.TempDir() + "/good"}
	good.plug(t)
	t.Cleanup(good.pull)
	master, slave, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	defer slave.Close()
	s := newShop(
		t,
		fmt.Sprintf(
			"[[indicator]]\nname = \"arm\"\nport = %q\nradius_mm = 120.0\n[[indicator]]\nname = \"bad\"\nport = %q\nradius_mm = 120.0\n[angle]\nsource = \"stations\"\n",
			good.name, slave.Name()))
	s.daemon(t)
	waitState(t, s, "the good port live", func(snap *api.Snapshot) bool { return snap.Devices[0].State == "live" })
	before := holds(t, s)
	gauge := beginTally(t, s, good)
	var sent atomic.Int64
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		rng := rand.New(rand.NewPCG(5, 6))
		block := make([]byte, 4096)
		for {
			for i := range block {
				block[i] = byte(rng.Uint32())
				if rng.IntN(40) == 0 {
					block[i] = '\n'
				}
			}
			n, err := master.Write(block)
			sent.Add(int64(n))
			if err != nil {
				return
			}
		}
	}()
	seconds := much(2, 30)
	time.Sleep(time.Duration(seconds) * time.Second)
	after := holds(t, s)
	tally := gauge()
	_ = master.Close()
	<-ended
	if after.rssKB > before.rssKB+30_000 || sent.Load() < 100_000 {
		t.Errorf("%d bytes of garbage; before %+v, after %+v", sent.Load(), before, after)
	}
	cameOf("garbage as fast as the daemon takes it, on one port of two",
		"%.1f MB in %d s for %.0f %% of a processor; the other port: %s; resident %.1f MB before, %.1f after",
		float64(sent.Load())/1e6, seconds, 100*(after.cpu-before.cpu)/float64(seconds), tally, mb(before), mb(after))
}

// beginTally counts, from now until it is called, what went into a port and what the daemon read of it, and holds them
// to each other: a reading or two may be on their way.
func beginTally(t *testing.T, s shop, p *socketed) func() string {
	t.Helper()
	const series = `tramd_readings_total{device="arm",machine="linnet"}`
	read, sent := metric(t, s, series), p.sent.Load()
	return func() string {
		t.Helper()
		n := p.sent.Load() - sent
		time.Sleep(300 * time.Millisecond)
		got := metric(t, s, series) - read
		if n < 20 || got < float64(n)-5 {
			t.Errorf("%d readings were sent and %.0f read", n, got)
		}
		return fmt.Sprintf("%d readings sent meanwhile, %.0f read", n, math.Min(got, float64(n)))
	}
}

// quietShop is a daemon with one indicator at fifty readings a second.
func quietShop(t *testing.T) (shop, *socketed) {
	t.Helper()
	good := &socketed{name: t.TempDir() + "/good"}
	good.plug(t)
	t.Cleanup(good.pull)
	s := newShop(
		t, fmt.Sprintf("[[indicator]]\nname = \"arm\"\nport = %q\nradius_mm = 120.0\n[angle]\nsource = \"stations\"\n",
			good.name))
	s.daemon(t)
	waitState(t, s, "the port live", live)
	return s, good
}

// Two hundred pages are opened that read nothing of what they asked for.
func tortureSlowPages(t *testing.T) {
	s, port := quietShop(t)
	before := holds(t, s)
	gauge := beginTally(t, s, port)
	var conns []net.Conn
	streams, turned := 0, 0
	for range 200 {
		c, err := net.Dial("tcp", s.page)
		if err != nil {
			t.Fatal(err)
		}
		conns = append(conns, c)
		if _, err := fmt.Fprintf(c, "GET /api/v1/live HTTP/1.1\r\nHost: %s\r\n\r\n", s.page); err != nil {
			t.Fatal(err)
		}
		head := make([]byte, 12)
		if err := c.SetReadDeadline(time.Now().Add(10 * time.Second)); err != nil {
			t.Fatal(err)
		}
		if _, err := io.ReadFull(c, head); err != nil {
			t.Fatal(err)
		}
		switch string(head[9:]) {
		case "200":
			streams++
		case "503":
			turned++
		default:
			t.Fatalf("answer %q", head)
		}
	}
	time.Sleep(time.Duration(much(2, 20)) * time.Second)
	during := holds(t, s)
	tally := gauge()
	for _, c := range conns {
		_ = c.Close()
	}
	if streams == 0 || streams+turned != 200 || during.rssKB > before.rssKB+100_000 {
		t.Errorf("%d streams, %d turned away; before %+v, during %+v", streams, turned, before, during)
	}
	var after footprint
	for range 300 { // the daemon notices at its next write
		if after = holds(t, s); after.fds <= before.fds+3 && after.goroutines <= before.goroutines+10 {
			break
		}
		time.Sleep(100 * time.Millisecond)
	}
	if after.fds > before.fds+3 || after.goroutines > before.goroutines+10 {
		t.Errorf("before %+v, after all pages were closed %+v", before, after)
	}
	cameOf("200 pages opened that never read",
		"%d served, %d told to come back later; the port: %s; resident %.1f MB before, %.1f during; open files %d before, %d after they closed",
		streams, turned, tally, mb(before), mb(during), before.fds, after.fds)
}

// Sixty-four scrapers ask again as soon as they have an answer.
func tortureScrapes(t *testing.T) {
	s, port := quietShop(t)
	before := holds(t, s)
	gauge := beginTally(t, s, port)
	began := time.Now()
	until := began.Add(time.Duration(much(1, 15)) * time.Second)
	var ok, later, failed atomic.Int64
	var wg sync.WaitGroup
	tr := &http.Transport{MaxIdleConnsPerHost: 64}
	for range 64 {
		wg.Go(func() {
			cl := &http.Client{Transport: tr, Timeout: 10 * time.Second}
			for time.Now().Before(until) {
				resp, err := cl.Get("http://" + s.page + "/metrics")
				if err != nil {
					failed.Add(1)
					continue
				}
				text, err := io.ReadAll(resp.Body)
				_ = resp.Body.Close()
				switch {
				case err == nil && resp.StatusCode == http.StatusOK &&
					strings.Contains(string(text), "tramd_build_info{"):
					ok.Add(1)
				case resp.StatusCode == http.StatusServiceUnavailable:
					later.Add(1)
				default:
					failed.Add(1)
				}
			}
		})
	}
	wg.Wait()
	lasted := time.Since(began).Seconds()
	tr.CloseIdleConnections()
	tally := gauge()
	after := holds(t, s)
	if failed.Load() > 0 || ok.Load() < int64(much(3, 200)) || after.rssKB > before.rssKB+100_000 {
		t.Errorf("%d scrapes, %d put off, %d failed; before %+v, after %+v", ok.Load(), later.Load(), failed.Load(),
			before, after)
	}
	cameOf("64 scrapers that ask again at once",
		"%.0f scrapes a second answered whole, %.0f put off (503), %d failed; the port: %s; resident %.1f MB before, %.1f after",
		float64(ok.Load())/lasted, float64(later.Load())/lasted, failed.Load(), tally, mb(before), mb(after))
}
