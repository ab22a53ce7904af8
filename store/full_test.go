package store

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"tramd/sweep"
)

// tmpfs mounts a small disk in memory, or gives "" where that is not allowed.
func tmpfs(t *testing.T, size string) string {
	t.Helper()
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, size); err != nil {
		t.Logf("no tmpfs to be had: %v", err)
		return ""
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, syscall.MNT_DETACH); err != nil {
			t.Error(err)
		}
	})
	return dir
}

// A full disk: what was stored can be read, the error says what to do, and storing goes on once there is room.
func TestFull(t *testing.T) {
	t.Run("page limit", func(t *testing.T) {
		s := fresh(t)
		limit := func(pages int) {
			if _, err := s.w.Exec(fmt.Sprintf("PRAGMA max_page_count = %d", pages)); err != nil {
				t.Fatal(err)
			}
		}
		limit(100)
		fillUp(t, s, func() { limit(1 << 30) })
	})
	dir := tmpfs(t, "size=2m")
	if dir == "" {
		return // not listed as passed: the page limit above has shown the same error, not the disk's behaviour
	}
	t.Run("disk", func(t *testing.T) {
		ballast := filepath.Join(dir, "ballast")
		if err := os.WriteFile(ballast, make([]byte, 1<<20), 0o600); err != nil {
			t.Fatal(err)
		}
		s := open(t, filepath.Join(dir, "linnet.db"))
		fillUp(t, s, func() {
			if err := os.Remove(ballast); err != nil {
				t.Fatal(err)
			}
		})
	})
}

func fillUp(t *testing.T, s *Store, makeRoom func()) {
	t.Helper()
	ctx := t.Context()
	id := begin(t, s)
	pts := handTurned(rand.New(rand.NewPCG(13, 14)), 1000)
	stored := 0
	var err error
	for stored < 2000 {
		if err = s.AppendPoints(ctx, id, pts); err != nil {
			break
		}
		stored++
	}
	if stored < 3 {
		t.Fatalf("full after %d chunks: %v", stored, err)
	}
	wantErr(t, err, ErrFull, s.path, fmt.Sprintf("store readings of run %d", id), "free some space")
	for range 3 { // and again, as the daemon will
		if err := s.AppendPoints(ctx, id, pts); err != nil {
			wantErr(t, err, ErrFull)
		} else {
			stored++ // the disk had room for a little more
		}
	}
	check := func() {
		t.Helper()
		got, err := s.Points(ctx, id)
		if err != nil {
			t.Fatal(err)
		}
		var want []sweep.Point
		for range stored {
			want = append(want, pts...)
		}
		samePoints(t, got, want)
	}
	check()
	makeRoom()
	if err := s.AppendPoints(ctx, id, pts); err != nil {
		t.Fatalf("with room again: %v", err)
	}
	stored++
	if err := s.FinishRun(ctx, id, Finished, day, "", resultOf(1e-4, 0)); err != nil {
		t.Fatal(err)
	}
	check()
	if err := checkFile(ctx, s.path); err != nil {
		t.Error(err)
	}
}
