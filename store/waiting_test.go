package store

import (
	"errors"
	"os"
	"path/filepath"
	"syscall"
	"testing"
)

// A disk without room at the start: the store waits, says why to every call, harms nothing, and can be opened once there is room.
func TestAStoreWaitsForRoom(t *testing.T) {
	dir := tmpfs(t, "size=2m")
	if dir == "" {
		t.Fatal("it needs a small disk: run it as root with the right to mount")
	}
	path := filepath.Join(dir, "linnet.db")
	for _, c := range []struct {
		name string
		runs int
		left int64 // bytes that are free
	}{{"a new record", 0, 0}, {"an old record", 1, 0}, {"an old record and one page", 1, 4096}, {"five pages", 1, 20480}, {"ten pages", 1, 40960}} {
		t.Run(c.name, func(t *testing.T) {
			for _, suffix := range []string{"", ".lock", "-wal", "-shm"} {
				_ = os.Remove(path + suffix)
			}
			if c.runs > 0 {
				s := open(t, path)
				begin(t, s)
				if err := s.Close(); err != nil {
					t.Fatal(err)
				}
			}
			makeRoom := fill(t, dir, c.left)
			s, err := OpenOrWait(t.Context(), path, Options{})
			if err != nil {
				t.Fatal(err)
			}
			defer s.Close()
			if c.left < 10000 {
				wantErr(t, s.Waiting(), ErrFull, path, "free some space")
			}
			if s.Waiting() != nil {
				if s.Roomy(t.Context()) {
					t.Error("there is said to be room")
				}
				_, err = s.List(t.Context(), 0, 10)
				wantErr(t, err, ErrFull, "free some space")
				_, err = s.RecoverUnfinished(t.Context())
				wantErr(t, err, ErrFull)
				wantErr(t, s.Check(t.Context()), ErrFull)
			}
			makeRoom()
			if !s.Roomy(t.Context()) {
				t.Error("there is said to be no room")
			}
			if _, err := Open(t.Context(), path, Options{}); !errors.Is(err, ErrBusy) {
				t.Errorf("the lock was let go: %v", err)
			}
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			s = open(t, path)
			list, err := s.List(t.Context(), 0, 10)
			if err != nil || len(list) != c.runs {
				t.Errorf("%d runs, %v", len(list), err)
			}
			begin(t, s)
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
		})
	}
}

// fill leaves so many bytes free, and says how to make room again.
func fill(t *testing.T, dir string, left int64) (makeRoom func()) {
	t.Helper()
	ballast, err := os.Create(filepath.Join(dir, "ballast"))
	if err != nil {
		t.Fatal(err)
	}
	size := int64(0)
	for block := make([]byte, 4096); err == nil; size += 4096 {
		_, err = ballast.Write(block)
	}
	if !errors.Is(err, syscall.ENOSPC) {
		t.Fatal(err)
	}
	if err := ballast.Truncate(size - 4096 - left); err != nil {
		t.Fatal(err)
	}
	return func() {
		if err := errors.Join(ballast.Close(), os.Remove(ballast.Name())); err != nil {
			t.Fatal(err)
		}
	}
}
