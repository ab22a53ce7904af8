package store

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tramd/sweep"
)

const (
	healthyRuns = 60
)

// healthyPoints are the readings of a run in the file that healthy makes.
func healthyPoints(run int64) []sweep.Point {
	return handTurned(rand.New(rand.NewPCG(uint64(run), 7)), 40+int(run)*13)
}

// healthy is a closed file with finished runs, their readings and events.
func healthy(t *testing.T, path string) {
	t.Helper()
	ctx := t.Context()
	s := open(t, path)
	// nothing is cut short here, and it takes a tenth of the time
	if _, err := s.w.Exec("PRAGMA synchronous = OFF"); err != nil {
		t.Fatal(err)
	}
	for i := range healthyRuns {
		id := begin(t, s)
		if err := s.AppendPoints(ctx, id, healthyPoints(id)); err != nil {
			t.Fatal(err)
		}
		if err := s.FinishRun(ctx, id, Finished, day.Add(time.Second), "", resultOf(float64(i)*1e-6, 0)); err != nil {
			t.Fatal(err)
		}
		if i%10 == 0 {
			if _, err := s.AddEvent(ctx, Event{At: day, Kind: "note", Text: strings.Repeat("swept the bed ", 20),
				Run: id}); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}

// spoil writes over a page (counted from 0) of a file.
func spoil(t *testing.T, path string, page int, with byte) {
	t.Helper()
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteAt(bytes.Repeat([]byte{with}, pageBytes), int64(page)*pageBytes); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
}

// kept counts what of healthy is there and right: nothing may be there and wrong.
func kept(t *testing.T, s *Store) (runs, readings, results int) {
	t.Helper()
	list, err := s.Runs(t.Context(), 0, 1000)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range list {
		if r.Outcome == Finished && r.StartedAt.Equal(day) {
			runs++
		}
		if r.Result != nil {
			if got, want := float64(r.Result.Tilt.Slope), float64(r.ID-1)*1e-6; got < want-1e-12 || got > want+1e-12 {
				t.Errorf("run %d: tilt %v, want %v", r.ID, got, want)
			}
			results++
		}
		pts, err := s.Points(t.Context(), r.ID)
		if err != nil && !errors.Is(err, ErrDamaged) {
			t.Fatal(err)
		}
		if len(pts) > 0 {
			samePoints(t, pts, healthyPoints(r.ID))
			readings++
		}
	}
	return runs, readings, results
}

// Pages of a file are spoiled, one at a time: the first, where the roots of the tables are, and every thirty-second of
// the rest. What lies on the others is saved, and nothing comes back wrong.
func TestASpoiledPageCostsOnlyItself(t *testing.T) {
	dir := t.TempDir()
	whole := filepath.Join(dir, "whole.db")
	healthy(t, whole)
	text, err := os.ReadFile(whole)
	if err != nil {
		t.Fatal(err)
	}
	pages := len(text) / pageBytes
	if pages < 30 {
		t.Fatalf("only %d pages", pages)
	}
	unnoticed, everything, tried, bare := 0, 0, 0, 0
	for page := 1; page < pages; page++ {
		if page > 24 && page%32 != 0 {
			continue
		}
		tried++
		path := filepath.Join(dir, fmt.Sprintf("page%d.db", page))
		if err := os.WriteFile(path, text, 0o640); err != nil {
			t.Fatal(err)
		}
		spoil(t, path, page, 0xa5)
		if err := checkFile(t.Context(), path); err == nil {
			unnoticed++ // a page of readings is a stretch of bytes to SQLite: the chunk's own checksum finds it
		} else if !errors.Is(err, ErrDamaged) {
			t.Fatalf("page %d: the check says %v", page, err)
		}
		saved, err := Salvage(t.Context(), path, Options{})
		if err != nil {
			t.Fatalf("page %d: %v", page, err)
		}
		s := open(t, path)
		if err := s.Check(t.Context()); err != nil {
			t.Fatalf("page %d: the new file: %v", page, err)
		}
		runs, readings, results := kept(t, s)
		// the page was one of the list of tables: then only a backup helps, and the words say so
		if len(saved.Rows) == 0 {
			bare++
			if text := saved.String(); !strings.Contains(text, "could not be read") ||
				!strings.Contains(text, "tramd restore") {
				t.Error(text)
			}
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			continue
		}
		// Of runs, results and readings a page holds at most one kind; the two others are whole.
		whole := 0
		for _, n := range []int{runs, readings, results} {
			if n == healthyRuns {
				whole++
			}
		}
		if whole < 2 {
			t.Errorf("page %d: %d runs, %d with readings, %d with results of %d; %s", page, runs, readings, results,
				healthyRuns, saved)
		}
		if whole == 3 {
			everything++
		}
		if got, err := os.ReadFile(saved.Aside); err != nil || len(got) != len(text) || bytes.Equal(got, text) {
			t.Errorf("page %d: the damaged file was not kept as it was: %v", page, err)
		}
		// The next run gets a number that was never shown.
		if id := begin(t, s); id != healthyRuns+1 {
			t.Errorf("page %d: the next run is %d, want %d", page, id, healthyRuns+1)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if bare > 8 {
		t.Errorf("%d of %d pages cost everything", bare, tried)
	}
	if everything == tried || unnoticed == tried {
		t.Errorf("no page held anything: %d of %d pages spoiled without a loss, %d unnoticed", everything,
			tried, unnoticed)
	}
}

// The last commits may lie in the write-ahead log only.
func TestWhatIsInTheLogIsSavedToo(t *testing.T) {
	ctx := t.Context()
	dir := t.TempDir()
	path := filepath.Join(dir, "linnet.db")
	healthy(t, path)
	s := open(t, path)
	id := begin(t, s)
	pts := healthyPoints(id)
	if err := s.AppendPoints(ctx, id, pts); err != nil {
		t.Fatal(err)
	}
	cut := filepath.Join(dir, "cut.db") // as it lies on the disk when the power goes
	for _, suffix := range []string{"", "-wal", ".lock"} {
		text, err := os.ReadFile(path + suffix)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(cut+suffix, text, 0o640); err != nil {
			t.Fatal(err)
		}
	}
	spoil(t, cut, 60, 0)
	if err := MarkDamaged(cut, errors.New("found so")); err != nil {
		t.Fatal(err)
	}
	wantErr(t, tryOpen(t, cut), ErrDamaged, "found so", "start the daemon")
	saved, err := Salvage(ctx, cut, Options{})
	if err != nil {
		t.Fatal(err)
	}
	got := open(t, cut)
	back, err := got.Points(ctx, id)
	if err != nil {
		t.Fatal(err)
	}
	samePoints(t, back, pts)
	if _, err := os.Stat(saved.Aside + "-wal"); err != nil {
		t.Errorf("the log was not kept beside the damaged file: %v", err)
	}
}

// The saving is cut short at each of its steps and begun again.
func TestSavingBegunAgain(t *testing.T) {
	gone := func(t *testing.T, names ...string) {
		for _, n := range names {
			if err := os.Remove(n); err != nil && !errors.Is(err, fs.ErrNotExist) {
				t.Fatal(err)
			}
		}
	}
	steps := map[string]func(t *testing.T, path string, out *Saved){
		"while copying": func(t *testing.T, path string, out *Saved) {
			if err := os.WriteFile(path+".saved.part", []byte("half"), 0o640); err != nil {
				t.Fatal(err)
			}
		},
		"copied": func(t *testing.T, path string, out *Saved) {
			if err := out.rescue(t.Context(), path, path+".saved", Options{}); err != nil {
				t.Fatal(err)
			}
		},
		"kept aside": func(t *testing.T, path string, out *Saved) {
			if err := errors.Join(out.rescue(t.Context(), path, path+".saved", Options{}),
				keepAs(path, out.Aside)); err != nil {
				t.Fatal(err)
			}
			gone(t, path+"-wal")
		},
		"in place, but the note still there": func(t *testing.T, path string, out *Saved) {
			if err := errors.Join(out.rescue(t.Context(), path, path+".saved", Options{}), keepAs(path, out.Aside),
				os.Rename(path+".saved", path)); err != nil {
				t.Fatal(err)
			}
		},
	}
	for name, cut := range steps {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "linnet.db")
			healthy(t, path)
			spoil(t, path, 60, 0xa5)
			if err := MarkDamaged(path, errors.New("found so")); err != nil {
				t.Fatal(err)
			}
			stamp, _, _ := damageNoted(path)
			cut(t, path, &Saved{Aside: path + ".damaged-" + stamp})
			saved, err := Salvage(t.Context(), path, Options{})
			if err != nil {
				t.Fatal(err)
			}
			s := open(t, path)
			runs, readings, results := kept(t, s)
			if runs+readings+results < 2*healthyRuns {
				t.Errorf("%d runs, %d with readings, %d with results; %s", runs, readings, results, saved)
			}
			if _, err := os.Stat(saved.Aside); err != nil {
				t.Error(err)
			}
			for _, left := range []string{".saved", ".saved.part", ".damaged"} {
				if _, err := os.Stat(path + left); !errors.Is(err, fs.ErrNotExist) {
					t.Errorf("%s was left behind", left)
				}
			}
		})
	}
}

// A file of ours that cannot be read is not taken for a file of another program.
func TestAFileThatIsNoDatabaseAnyMore(t *testing.T) {
	for name, ruin := range map[string]func(path string) error{
		"emptied":       func(path string) error { return os.Truncate(path, 0) },
		"full of zeros": func(path string) error { return os.WriteFile(path, make([]byte, 40960), 0o640) },
		"its first page": func(path string) error {
			f, err := os.OpenFile(path, os.O_RDWR, 0)
			if err != nil {
				return err
			}
			_, err = f.WriteAt(bytes.Repeat([]byte{7}, 900), 100)
			return errors.Join(err, f.Close())
		},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "linnet.db")
			healthy(t, path)
			if err := ruin(path); err != nil {
				t.Fatal(err)
			}
			wantErr(t, tryOpen(t, path), ErrDamaged)
			saved, err := Salvage(t.Context(), path, Options{})
			if err != nil {
				t.Fatal(err)
			}
			if text := saved.String(); !strings.Contains(text, "nothing in it could be read") &&
				!strings.Contains(text, "could not be read") {
				t.Error(text)
			}
			begin(t, open(t, path))
		})
	}
}

func TestCutShortIsKnownByTheLog(t *testing.T) {
	path := filepath.Join(t.TempDir(), "linnet.db")
	healthy(t, path)
	s := open(t, path)
	if s.CutShort() {
		t.Error("a file that was closed counts as cut short")
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	killedChild(t, path, 20*time.Millisecond)
	if s := open(t, path); !s.CutShort() {
		t.Error("a killed writer was not noticed")
	}
}
