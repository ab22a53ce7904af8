package store

import (
	"errors"
	"math/rand/v2"
	"sync"
	"testing"

	"tramd/sweep"
)

// Eight readers at work do not disturb the writer, and each sees whole commits only.
func TestReadersBesideTheWriter(t *testing.T) {
	ctx := t.Context()
	s := fresh(t)
	id := begin(t, s)
	pts := handTurned(rand.New(rand.NewPCG(17, 18)), 6000)
	const chunk = 100

	stop := make(chan struct{})
	errs := make(chan error, 8)
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			seen := 0
			for {
				got, err := s.Points(ctx, id)
				if err == nil && (len(got)%chunk != 0 || len(got) < seen) {
					err = errors.New("a part of a commit was seen, or one was taken back")
				}
				if err == nil {
					seen = len(got)
					_, err = s.Runs(ctx, 0, 10)
				}
				if err != nil {
					errs <- err
					return
				}
				select {
				case <-stop:
					return
				default:
				}
			}
		})
	}
	for first := 0; first < len(pts); first += chunk {
		if err := s.AppendPoints(ctx, id, pts[first:first+chunk]); err != nil {
			t.Error(err)
			break
		}
	}
	close(stop)
	wg.Wait()
	select {
	case err := <-errs:
		t.Error(err)
	default:
	}
	got, err := s.Points(ctx, id)
	if err != nil {
		t.Fatal(err)
	}
	samePoints(t, got, pts)
}

// Many writers queue. None gets the error that the database is busy.
func TestWritersQueue(t *testing.T) {
	ctx := t.Context()
	s := fresh(t)
	one := []sweep.Point{{T: 1, Angle: 1, Reading: 1}}
	setup := setupOf(t, "0.02/300")
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			id, err := s.BeginRun(ctx, NewRun{Kind: "sweep", Setup: setup, StartedAt: day})
			for range 5 {
				err = errors.Join(err, s.AppendPoints(ctx, id, one))
			}
			if err = errors.Join(err, s.FinishRun(ctx, id, Finished, day, "", nil)); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	runs, err := s.Runs(ctx, 0, 100)
	if err != nil || len(runs) != 8 {
		t.Fatalf("%d runs, %v", len(runs), err)
	}
	for _, r := range runs {
		if r.Readings != 5 {
			t.Errorf("run %d has %d readings, want 5", r.ID, r.Readings)
		}
	}
}
