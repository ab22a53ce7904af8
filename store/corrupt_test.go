package store

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tramd/sweep"
)

// corrupted is a record as it was before it was spoiled.
type corrupted struct {
	text  []byte
	lock  []byte
	runs  map[int64]Run
	pts   map[int64][]sweep.Point
	pages map[int64]map[int64]bool // by run: the pages that hold its row, its setup, its readings and its result
}

const corruptRuns = 24

func recordToSpoil(t *testing.T) *corrupted {
	t.Helper()
	ctx := t.Context()
	path := filepath.Join(t.TempDir(), "linnet.db")
	s := open(t, path)
	if _, err := s.w.Exec("PRAGMA synchronous = OFF"); err != nil {
		t.Fatal(err)
	}
	c := &corrupted{runs: map[int64]Run{}, pts: map[int64][]sweep.Point{}, pages: map[int64]map[int64]bool{}}
	for n := range corruptRuns {
		tolerance := "0.02/300"
		if n%2 == 1 {
			tolerance = "0.03/300"
		}
		id, err := s.BeginRun(ctx, NewRun{Kind: "sweep", Purpose: "check", Setup: setupOf(t, tolerance),
			StartedAt: day.AddDate(0, 0, n), ClockSet: true})
		if err != nil {
			t.Fatal(err)
		}
		pts := handTurned(rand.New(rand.NewPCG(uint64(id), 3)), 300+20*n)
		for _, part := range [][]sweep.Point{pts[:150], pts[150:]} {
			if err := s.AppendPoints(ctx, id, part); err != nil {
				t.Fatal(err)
			}
		}
		if err := s.FinishRun(ctx, id, Finished, day.AddDate(0, 0, n).Add(time.Minute), "",
			resultOf(float64(id)*1e-6, 0)); err != nil {
			t.Fatal(err)
		}
		if n%5 == 0 {
			if _, err := s.AddEvent(
				ctx, Event{At: day.AddDate(0, 0, n), Kind: "note",
					Text: fmt.Sprintf("oiled after run %d", id)}); err != nil {
				t.Fatal(err)
			}
		}
	}
	for id := int64(1); id <= corruptRuns; id++ {
		var err error
		if c.runs[id], err = s.Run(ctx, id); err != nil {
			t.Fatal(err)
		}
		if c.pts[id], err = s.Points(ctx, id); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	var err error
	if c.text, err = os.ReadFile(path); err != nil {
		t.Fatal(err)
	}
	if c.lock, err = os.ReadFile(path + ".lock"); err != nil {
		t.Fatal(err)
	}
	c.findPages(t, path)
	return c
}

// findPages notes which pages each run needs: one is needed where without it a row of the run cannot be read.
func (c *corrupted) findPages(t *testing.T, path string) {
	t.Helper()
	s := open(t, path)
	defer s.Close()
	var tables []rawTable
	for _, name := range []string{"setup", "run", "chunk", "result"} {
		table, err := newRawTable(t.Context(), s.w, name)
		if err != nil {
			t.Fatal(err)
		}
		tables = append(tables, table)
	}
	setups := map[int64]map[int64]bool{}
	of := map[int64]int64{} // setup by run
	add := func(to map[int64]map[int64]bool, id int64, pages map[int64]bool) {
		if to[id] == nil {
			to[id] = map[int64]bool{}
		}
		for p := range pages {
			to[id][p] = true
		}
	}
	found := 0
	for n := int64(1); n <= int64(len(c.text)/pageBytes); n++ {
		page := c.text[(n-1)*pageBytes : n*pageBytes]
		watch := &watchedPages{text: c.text, seen: map[int64]bool{n: true}}
		pages := rawPages{f: watch, size: pageBytes, n: int64(len(c.text) / pageBytes)}
		for _, row := range pages.rowsOn(page, n == 1) {
			for _, table := range tables {
				if !table.believes(&row) {
					continue
				}
				found++
				switch table.name {
				case "setup":
					add(setups, row.id, watch.seen)
				case "run":
					add(c.pages, row.id, watch.seen)
					of[row.id] = row.fields[table.at("setup_id")].(int64)
				default:
					add(c.pages, row.fields[1].(int64), watch.seen)
				}
			}
		}
	}
	for run, setup := range of {
		add(c.pages, run, setups[setup])
	}
	if len(c.pages) != corruptRuns || found < 4*corruptRuns+2 {
		t.Fatalf("pages of %d runs, %d rows", len(c.pages), found)
	}
}

// watchedPages notes the pages that are read. All rows of a leaf count as needing what overflowed from any of them.
type watchedPages struct {
	text []byte
	seen map[int64]bool
}

func (w *watchedPages) ReadAt(p []byte, at int64) (int, error) {
	w.seen[at/pageBytes+1] = true
	return bytes.NewReader(w.text).ReadAt(p, at)
}

// spoilAtRandom spoils a copy, and says how.
func spoilAtRandom(rng *rand.Rand, text []byte) ([]byte, string) {
	out := bytes.Clone(text)
	pages := len(out) / pageBytes
	flip := func(n, below int) {
		for range n {
			out[rng.IntN(below)] ^= 1 << rng.IntN(8)
		}
	}
	switch kind := rng.IntN(7); kind {
	case 0:
		at := rng.IntN(len(out))
		return out[:at], fmt.Sprintf("cut at byte %d of %d", at, len(out))
	case 1:
		n := 1 + rng.IntN(3)
		return out[:len(out)-n*pageBytes], fmt.Sprintf("cut by %d pages", n)
	case 2:
		n, first := 1+rng.IntN(4), rng.IntN(pages)
		end := min((first+n)*pageBytes, len(out))
		clear(out[first*pageBytes : end])
		return out, fmt.Sprintf("%d pages of zeros from page %d", n, first+1)
	case 3:
		at := rng.IntN(len(out) - 64)
		for i := range 64 {
			out[at+i] = byte(rng.IntN(256))
		}
		return out, fmt.Sprintf("64 bytes of noise at %d, page %d", at, at/pageBytes+1)
	case 4:
		n := 1 + rng.IntN(20)
		flip(n, len(out))
		return out, fmt.Sprintf("%d bits flipped anywhere", n)
	case 5:
		flip(1, headerBytes)
		return out, "one bit of the header flipped"
	default:
		flip(1+rng.IntN(6), headerBytes)
		return out, "bits of the header flipped"
	}
}

// What is spoiled at random is never believed, never hides what is whole, and never keeps the daemon from starting:
// after at most one restart it is up. A thousand with -torture.
func TestRandomCorruptions(t *testing.T) {
	c := recordToSpoil(t)
	rounds := 30
	if *torture {
		rounds = 1000
	}
	rng := rand.New(rand.NewPCG(41, 42))
	var whole, touched, said, kept int
	for round := range rounds {
		text, how := spoilAtRandom(rng, c.text)
		path := filepath.Join(t.TempDir(), "linnet.db")
		if err := errors.Join(os.WriteFile(path, text, 0o640), os.WriteFile(path+".lock", c.lock, 0o640)); err != nil {
			t.Fatal(err)
		}
		s, told, err := startAsTheDaemon(t.Context(), path)
		if err != nil {
			t.Errorf("round %d, %s: not up after a restart: %v", round, how, err)
			continue
		}
		for id := int64(1); id <= corruptRuns; id++ {
			hit := false
			for p := range c.pages[id] {
				at := (p - 1) * pageBytes
				if p == 1 { // of the first page the header says nothing of a run
					continue
				}
				hit = hit || at+pageBytes > int64(len(text)) ||
					!bytes.Equal(text[at:at+pageBytes], c.text[at:at+pageBytes])
			}
			wrong, says := c.judge(t.Context(), s, id, told)
			switch {
			case !hit && (wrong != "" || says):
				t.Errorf("round %d, %s: run %d, whose pages are whole: %s (says so: %v)", round, how, id, wrong, says)
			case wrong != "" && !says:
				t.Errorf("round %d, %s: run %d is wrong and does not say so: %s", round, how, id, wrong)
			}
			if !hit {
				whole++
			} else if touched++; says {
				said++
			} else {
				kept++
			}
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		_ = os.RemoveAll(filepath.Dir(path))
	}
	t.Logf(
		"%d corruptions: %d runs with whole pages, all there and right; of %d others %d are right all the same, and %d say what is lost", rounds, whole, touched, kept, said)
	if whole == 0 || said == 0 {
		t.Error("the corruptions fell into nothing")
	}
}

// startAsTheDaemon opens a record as the daemon does: it saves what can be read of a damaged one, looks through it, and
// if that finds damage starts once more.
func startAsTheDaemon(ctx context.Context, path string) (s *Store, told string, err error) {
	salvage := func() error {
		saved, err := Salvage(ctx, path, Options{})
		told += saved.String()
		return err
	}
	start := func() (*Store, error) {
		s, err := Open(ctx, path, Options{})
		if errors.Is(err, ErrDamaged) {
			if err := salvage(); err != nil {
				return nil, err
			}
			s, err = Open(ctx, path, Options{})
		}
		if err != nil {
			return nil, err
		}
		_, err = s.RecoverUnfinished(ctx)
		if err == nil {
			_, err = s.LastFinished(ctx, "sweep")
		}
		if err == nil {
			_, err = s.RunCounts(ctx)
		}
		if errors.Is(err, ErrDamaged) {
			if err := s.Close(); err != nil {
				return nil, err
			}
			if err := salvage(); err != nil {
				return nil, err
			}
			return Open(ctx, path, Options{})
		}
		if err != nil && !errors.Is(err, ErrNotFound) {
			return nil, errors.Join(err, s.Close())
		}
		return s, nil
	}
	if s, err = start(); err != nil {
		return nil, told, err
	}
	if err := s.Check(ctx); !errors.Is(err, ErrDamaged) {
		return s, told, err
	}
	if err := s.Close(); err != nil {
		return nil, told, err
	}
	if s, err = start(); err == nil {
		if err = s.Check(ctx); err != nil {
			err = fmt.Errorf("after the restart: %w", err)
		}
	}
	return s, told, err
}

// judge says what of a run is not as it was, and whether the run says so.
func (c *corrupted) judge(ctx context.Context, s *Store, id int64, told string) (wrong string, says bool) {
	want := c.runs[id]
	run, err := s.Run(ctx, id)
	if err != nil {
		// Where the file no longer knows how many runs there were, what was saved from it says that something is lost.
		return err.Error(), errors.Is(err, ErrDamaged) || errors.Is(err, ErrNotFound) &&
			strings.Contains(told, "could not be read")
	}
	pts, err := s.Points(ctx, id)
	says = run.Damage != "" || run.Missing > 0 || run.Outcome == Failed && run.Why != "" || run.Result == nil ||
		errors.Is(err, ErrDamaged) ||
		run.Setup.Machine == "unknown"
	switch {
	case err != nil:
		return err.Error(), says
	case run.Outcome != want.Outcome || !run.StartedAt.Equal(want.StartedAt) || run.Readings != want.Readings:
		return fmt.Sprintf("the run is %+v", run), says
	case run.Result == nil || run.Result.Tilt.Slope != want.Result.Tilt.Slope:
		return "the result is lost", says
	case run.Tolerance != want.Tolerance || run.Setup.Machine != want.Setup.Machine:
		return "the setup is another", says
	case len(pts) != len(c.pts[id]):
		return fmt.Sprintf("%d readings, want %d", len(pts), len(c.pts[id])), says
	}
	for i := range pts {
		if !samePoint(pts[i], c.pts[id][i]) {
			return fmt.Sprintf("reading %d is %+v", i, pts[i]), says
		}
	}
	return "", says
}
