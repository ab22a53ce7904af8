package store

import (
	"bufio"
	"context"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"tramd/sweep"
)

var torture = flag.Bool("torture", false, "a thousand kills instead of a dozen")

// childEnv makes the test binary a writer that never stops by itself.
const childEnv = "STORE_TEST_WRITE_TO"

func TestMain(m *testing.M) {
	if path := os.Getenv(childEnv); path != "" {
		fmt.Fprintln(os.Stderr, writeForEver(path))
		os.Exit(1)
	}
	os.Exit(m.Run())
}

const (
	childChunk  = 50 // readings
	childChunks = 12 // in a run that is let finish
)

// childPoints are the readings of a run. Parent and child work out the same.
func childPoints(run int64, chunk int) []sweep.Point {
	all := handTurned(rand.New(rand.NewPCG(uint64(run), 99)), childChunk*childChunks)
	return all[chunk*childChunk : (chunk+1)*childChunk]
}

// writeForEver stores run after run and says on standard output what the store has acknowledged, after it has.
func writeForEver(path string) error {
	ctx := context.Background()
	s, err := Open(ctx, path, Options{})
	if err != nil {
		return err
	}
	for {
		id, err := s.BeginRun(ctx, NewRun{Kind: "sweep", Purpose: "check", StartedAt: day})
		if err != nil {
			return err
		}
		acknowledge("begun", id, 0)
		for chunk := range childChunks {
			if err := s.AppendPoints(ctx, id, childPoints(id, chunk)); err != nil {
				return err
			}
			acknowledge("stored", id, chunk+1)
		}
		if err := s.FinishRun(ctx, id, Finished, day.Add(time.Second), "", resultOf(1e-4, 0)); err != nil {
			return err
		}
		acknowledge("finished", id, childChunks)
		if id%3 == 0 {
			if err := s.Checkpoint(ctx); err != nil { // so that a kill may fall into one
				return err
			}
		}
	}
}

// What was acknowledged is there after a kill at any moment, and the run it fell into is found.
func TestKilledWhileWriting(t *testing.T) {
	path := filepath.Join(t.TempDir(), "linnet.db")
	rng := rand.New(rand.NewPCG(15, 16))
	chunks := map[int64]int{} // acknowledged, by run
	finished := map[int64]bool{}
	interrupted := 0
	rounds := 12
	if *torture {
		rounds = 1000
	}
	for round := range rounds {
		fresh := map[int64]bool{} // runs of this round
		said := killedChild(t, path, time.Duration(rng.IntN(120_000))*time.Microsecond)
		for _, line := range said {
			var what string
			var id int64
			var n int
			if _, err := fmt.Sscan(line, &what, &id, &n); err != nil {
				continue // the last line may be cut short; then it was not said
			}
			chunks[id] = max(chunks[id], n)
			finished[id] = finished[id] || what == "finished"
			fresh[id] = true
		}
		s := open(t, path)
		if err := checkFile(t.Context(), path); err != nil {
			t.Fatalf("round %d: %v", round, err)
		}
		found, err := s.RecoverUnfinished(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if len(found) > 1 {
			t.Fatalf("round %d: runs %v unfinished, a writer has one at a time", round, found)
		}
		interrupted += len(found)
		for id, n := range chunks { // all of them after the last round; a round's own after it
			if fresh[id] || round == rounds-1 {
				checkKept(t, s, id, n, finished[id], slices.Contains(found, id))
			}
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
	t.Logf("%d kills, %d runs begun, %d cut short, none lost what was acknowledged", rounds, len(chunks), interrupted)
	if interrupted == 0 || len(chunks) < rounds {
		t.Errorf("%d runs begun, %d interrupted: the kills fell into nothing", len(chunks), interrupted)
	}
}

// killedChild starts a writer, kills it some time after its first word, and gives what it said.
func killedChild(t *testing.T, path string, after time.Duration) []string {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), childEnv+"="+path)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	var said []string
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		if said = append(said, lines.Text()); len(said) == 1 {
			time.AfterFunc(after, func() { _ = cmd.Process.Kill() })
		}
	}
	if err := cmd.Wait(); err == nil || cmd.ProcessState.ExitCode() != -1 {
		t.Fatalf("the writer ended by itself: %v", err)
	}
	return said
}

func checkKept(t *testing.T, s *Store, id int64, acknowledged int, finished, justFound bool) {
	t.Helper()
	run, err := s.Run(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	pts, err := s.Points(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	if len(pts) < acknowledged*childChunk || len(pts)%childChunk != 0 || len(pts) != run.Readings {
		t.Fatalf("run %d: %d readings, run says %d, acknowledged %d", id, len(pts), run.Readings,
			acknowledged*childChunk)
	}
	for chunk := range len(pts) / childChunk {
		samePoints(t, pts[chunk*childChunk:(chunk+1)*childChunk], childPoints(id, chunk))
	}
	switch {
	case finished && (run.Outcome != Finished || run.Result == nil):
		t.Fatalf("run %d was acknowledged as finished and is %q", id, run.Outcome)
	case justFound && (run.Outcome != Interrupted || run.Why == "" || len(pts) > 0 &&
		run.EndedAt.Before(run.StartedAt)):
		t.Fatalf("run %d was found unfinished and is %+v", id, run)
	case run.Outcome != Finished && run.Outcome != Interrupted:
		t.Fatalf("run %d is %q", id, run.Outcome)
	}
}
