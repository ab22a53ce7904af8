package store

import (
	"errors"
	"os"
	"path/filepath"
	"sync"
	"syscall"
	"testing"
)

// A disk without room at the start: the store waits, says why to every call, harms nothing, and can be opened once
// there is room.
func TestAStoreWaitsForRoom(t *testing.T) {
	dir := tmpfs(t, "size=2m")
	if dir == "" {
		t.Fatal("it needs a small disk: run it as root with the right to mount")
	}
	path := filepath.Join(dir, "linnet.db")
	for _, c := range []struct {
		name   string
		runs   int
		left   int64 // bytes that are free
		killed bool  // the record was not closed: its last commits lie in the log
	}{{"a new record", 0, 0, false}, {"an old record", 1, 0, false}, {"an old record and one page", 1, 4096, false},
		{"five pages", 1, 20480, false},
		{"ten pages", 1, 40960, false}, {"a record whose daemon was killed", 1, 0, true}} {
		t.Run(c.name, func(t *testing.T) {
			for _, suffix := range []string{"", ".lock", "-wal", "-shm"} {
				_ = os.Remove(path + suffix)
			}
			if c.runs > 0 {
				s := open(t, path)
				begin(t, s)
				killed := map[string][]byte{}
				if c.killed {
					for _, suffix := range []string{"", "-wal"} {
						text, err := os.ReadFile(path + suffix)
						if err != nil {
							t.Fatal(err)
						}
						killed[suffix] = text
					}
				}
				if err := s.Close(); err != nil {
					t.Fatal(err)
				}
				for suffix, text := range killed {
					if err := os.WriteFile(path+suffix, text, 0o600); err != nil {
						t.Fatal(err)
					}
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
				list, err := s.List(t.Context(), 0, 10)
				if c.runs == 0 {
					wantErr(t, err, ErrFull, "free some space")
				} else if err != nil || len(list) != c.runs {
					t.Errorf("what was stored before: %d runs, %v", len(list), err)
				}
				if next, err := s.NextRun(t.Context()); c.runs > 0 && (err != nil || next != 2) {
					t.Errorf("the next run would be %d, %v", next, err)
				}
				var many sync.WaitGroup // a page asks for several things at once
				for range 8 {
					many.Go(func() {
						if _, err := s.Run(t.Context(), 1); c.runs > 0 && err != nil {
							t.Errorf("run 1 beside others: %v", err)
						}
					})
				}
				many.Wait()
				_, err = s.RecoverUnfinished(t.Context())
				wantErr(t, err, ErrFull)
				_, err = s.BeginRun(t.Context(), NewRun{Kind: "sweep", Purpose: "check"})
				wantErr(t, err, ErrFull)
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
