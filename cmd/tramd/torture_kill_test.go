package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/store"
)

// The daemon is killed at random moments of a running sweep and started again. What it had shown as stored is there.
func tortureKills(t *testing.T) {
	const shops = 8
	kills := much(1, 1000/shops)
	var done, withReadings, shown, kept, empty atomic.Int64
	began := time.Now()
	t.Run("at once", func(t *testing.T) {
		for n := range shops {
			if !*torture && n >= 2 {
				break
			}
			t.Run(fmt.Sprint(n), func(t *testing.T) {
				t.Parallel()
				rng := rand.New(rand.NewPCG(uint64(n), 31))
				m := startOther(t, "--rate", "100", "--encoder-rate", "100", "--turns", "100000",
					"--seconds", "1000000")
				m.turn(t)
				s := newShop(t, encoderPorts(m.Paths.Indicator, m.Paths.Encoder))
				for range kills {
					d := s.daemon(t)
					run, stored := sweepUntil(t, s, d, time.Duration(much(2500, rng.IntN(2500)))*time.Millisecond)
					if run == 0 { // it fell into the beginning
						empty.Add(1)
						continue
					}
					d = s.daemon(t)
					readings := checkInterrupted(t, s, run, stored)
					done.Add(1)
					shown.Add(int64(stored))
					kept.Add(int64(readings))
					if stored > 0 {
						withReadings.Add(1)
					}
					d.kill()
				}
			})
		}
	})
	if withReadings.Load() == 0 {
		t.Error("no kill fell into a sweep with readings on disk")
	}
	cameOf("the whole daemon killed (SIGKILL) at a random moment of a running sweep, and as often again while idle",
		"%d kills, %d of them with readings on disk, %d before the run had a number; shown as stored %d readings, found %d: none missing, every run marked interrupted; %.0f s",
		done.Load()+empty.Load(), withReadings.Load(), empty.Load(), shown.Load(), kept.Load(),
		time.Since(began).Seconds())
}

// sweepUntil begins a sweep, kills the daemon some time later, and gives the run and how many readings were shown as
// stored.
func sweepUntil(t *testing.T, s shop, d *process, after time.Duration) (run int64, stored int) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	cl := s.client(t)
	killed := make(chan struct{})
	time.AfterFunc(after, func() { d.kill(); close(killed) })
	run, err := cl.StartSweep(ctx, 100, "check")
	if err == nil {
		_ = cl.Live(ctx, func(snap *api.Snapshot) bool { // until it dies
			if snap.Sweep.Run == run {
				stored = max(stored, snap.Sweep.Stored)
			}
			return true
		})
	} else {
		select {
		case <-killed: // while it was being begun
		case <-time.After(5 * time.Second):
			t.Fatalf("the sweep was not begun: %v", err)
		}
	}
	<-killed
	return run, stored
}

func checkInterrupted(t *testing.T, s shop, run int64, stored int) int {
	t.Helper()
	db, err := store.OpenReadOnly(t.Context(), filepath.Join(s.dir, "tramd.db"), store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	r, err := db.Run(t.Context(), run)
	if err != nil {
		t.Fatal(err)
	}
	pts, err := db.Points(t.Context(), run)
	if err != nil {
		t.Fatal(err)
	}
	if r.Outcome != store.Interrupted || r.Readings < stored || len(pts) != r.Readings {
		t.Fatalf("run %d is %q with %d readings, %d of them there; %d were shown as stored", run, r.Outcome, r.Readings,
			len(pts), stored)
	}
	return len(pts)
}
