package main

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// shared is written by one goroutine and read by another.
type shared struct {
	mu sync.Mutex
	b  strings.Builder
}

func (s *shared) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *shared) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

// A real Prometheus scrapes a machine whose tilt is on the move, a real Alertmanager hands the alert on, and it is
// printed; so is its end.
func TestAnAlertIsPrintedAsItArrives(t *testing.T) {
	t.Parallel()
	var moving atomic.Int64
	moving.Store(1)
	machine := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		fmt.Fprintf(
			w, "tramd_build_info{machine=\"wren\"} 1\ntramd_alarm{machine=\"wren\",axis=\"tilt\",kind=\"trend\"} %d\n",
			moving.Load())
	}))
	defer machine.Close()
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	var out shared
	ended := make(chan error, 1)
	go func() {
		ended <- run(ctx, "../rules/tramd.yml", []string{strings.TrimPrefix(machine.URL, "http://")}, &out)
	}()
	waitFor := func(what string) {
		t.Helper()
		for began := time.Now(); !strings.Contains(out.String(), what); time.Sleep(50 * time.Millisecond) {
			select {
			case err := <-ended:
				t.Fatal(err)
			default:
			}
			if time.Since(began) > 2*time.Minute {
				t.Fatalf("%q was not printed:\n%s", what, out.String())
			}
		}
	}
	waitFor("firing    warning   TramdLeanMoving: wren: tilt is moving")
	moving.Store(0)
	waitFor("resolved  warning   TramdLeanMoving: wren: tilt is moving")
	stop()
	if err := <-ended; err != nil {
		t.Error(err)
	}
}
