package main

import (
	"bufio"
	"context"
	"io"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"time"
)

// soakPages leaves some of the 32 places for whoever drives the sweeps, and for pages that were left but are not yet
// seen to be.
const soakPages = 28

// watching is what was looked at.
type watching struct {
	hours                                  float64 // of all pages together
	pages, states, scrapes, others, failed int
}

// watchAll opens so many pages, each looked at for a minute and opened again, with a scraper five times a second and
// now and then a question for all else a page shows, until ctx ends; the answer waits for that and says what came of
// it.
func (s shop) watchAll(ctx context.Context, pages int) func() watching {
	var opened, states, scrapes, others, failed, ms atomic.Int64
	var wg sync.WaitGroup
	tr := &http.Transport{MaxIdleConnsPerHost: 4}
	cl := &http.Client{Transport: tr}
	open := func(ctx context.Context, path string) *http.Response {
		req, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+s.page+path, nil)
		if err != nil {
			panic(err) // the address is our own
		}
		resp, err := cl.Do(req)
		if err == nil && resp.StatusCode == http.StatusOK {
			return resp
		}
		if err == nil {
			resp.Body.Close()
		}
		if ctx.Err() == nil {
			failed.Add(1)
		}
		return nil
	}
	ask := func(path string, n *atomic.Int64) {
		if resp := open(ctx, path); resp != nil {
			if _, err := io.Copy(io.Discard, resp.Body); err == nil {
				n.Add(1)
			} else if ctx.Err() == nil {
				failed.Add(1)
			}
			resp.Body.Close()
		}
	}
	every := func(d time.Duration, do func()) {
		wg.Go(func() {
			tick := time.NewTicker(d)
			defer tick.Stop()
			for {
				select {
				case <-ctx.Done():
					return
				case <-tick.C:
					do()
				}
			}
		})
	}
	for i := range pages {
		every(time.Second, func() {
			look, done := context.WithTimeout(ctx, time.Minute+time.Duration(i)*time.Second)
			defer done()
			began := time.Now()
			resp := open(look, "/api/v1/live")
			if resp == nil {
				return
			}
			defer resp.Body.Close()
			opened.Add(1)
			lines := bufio.NewScanner(resp.Body)
			lines.Buffer(nil, 1<<20)
			for lines.Scan() {
				if strings.HasPrefix(lines.Text(), "event: state") {
					states.Add(1)
				}
			}
			if look.Err() == nil {
				failed.Add(1) // the daemon ended it
			}
			ms.Add(time.Since(began).Milliseconds())
		})
	}
	every(time.Second/5, func() { ask("/metrics", &scrapes) })
	every(2*time.Second, func() {
		for _, path := range []string{"/", "/api/v1/runs?limit=20", "/api/v1/runs/1", "/api/v1/drift", "/job.html",
			"/healthz"} {
			ask(path, &others)
		}
	})
	return func() watching {
		wg.Wait()
		tr.CloseIdleConnections()
		return watching{hours: float64(ms.Load()) / 3.6e6, pages: int(opened.Load()), states: int(states.Load()),
			scrapes: int(scrapes.Load()), others: int(others.Load()), failed: int(failed.Load())}
	}
}
