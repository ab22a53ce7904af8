package store

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"tramd/sweep"
	"tramd/sweep/units"
)

func resultOf(tilt, nod float64) *sweep.Result {
	return &sweep.Result{
		Model: "plain", ModelVersion: 1,
		Tilt:     &sweep.Axis{Slope: units.Slope(tilt), U: 4e-6, Expanded: 8e-6, Verdict: sweep.Outside},
		Nod:      &sweep.Axis{Slope: units.Slope(nod), U: 4e-6, Expanded: 8e-6, Verdict: sweep.Within},
		Lean:     &sweep.Lean{Slope: units.Slope(math.Hypot(tilt, nod)), Azimuth: sweep.Wrap(math.Atan2(nod, tilt))},
		OffsetMM: []float64{0.35}, ClosureMM: math.NaN(), ResidualRMSMM: 0.003, FormPVMM: math.NaN(),
		Readings: 2000, Coverage: 6, CoverageFactor: 2, DoF: 1997, Verdict: sweep.Outside,
		Warnings:   []sweep.Warning{{Code: "arc", Text: "a part of the circle is missing"}},
		Covariance: [2][2]float64{{1.6e-11, -2e-13}, {-2e-13, 1.7e-11}},
	}
}

var near = cmp.Options{cmpopts.EquateApprox(1e-12, 0), cmpopts.EquateNaNs(), cmpopts.EquateEmpty()}

func TestRunRoundTrip(t *testing.T) {
	ctx := t.Context()
	s := fresh(t)
	pts := handTurned(rand.New(rand.NewPCG(7, 8)), 2500)
	pts[3].Angle = math.NaN()
	id, err := s.BeginRun(ctx, NewRun{Kind: "sweep", Purpose: "adjust", Setup: setupOf(t, "0.02/300"), StartedAt: day,
		BootTime: 1500 * time.Millisecond, ClockSet: true, Note: "after the shim"})
	if err != nil {
		t.Fatal(err)
	}
	for first := 0; first < len(pts); first += 1000 {
		if err := s.AppendPoints(ctx, id, pts[first:min(first+1000, len(pts))]); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.AppendPoints(ctx, id, nil); err != nil {
		t.Fatal(err)
	}
	want := Run{ID: id, Kind: "sweep", Purpose: "adjust", StartedAt: day, ClockSet: true, BootID: "boot-1",
		BootTime: 1500 * time.Millisecond,
		Setup:    setupOf(t, "0.02/300"), Tolerance: "0.02/300", Readings: 2500, Untagged: 1, Note: "after the shim"}
	if got, err := s.Run(ctx, id); err != nil || !cmp.Equal(got, want, near) {
		t.Fatalf("running: %v\n%s", err, cmp.Diff(want, got, near))
	}

	if err := s.FinishRun(ctx, id, Finished, day.Add(3*time.Second), "", resultOf(1e-4, -2e-5)); err != nil {
		t.Fatal(err)
	}
	want.Outcome, want.EndedAt, want.Result = Finished, day.Add(3*time.Second), resultOf(1e-4, -2e-5)
	if f, err := FindingOf(*want.Result); err != nil {
		t.Fatal(err)
	} else {
		want.Raw = f.JSON
	}
	path := s.path
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}

	s = open(t, path)
	got, err := s.Run(ctx, id)
	if err != nil || !cmp.Equal(got, want, near) {
		t.Fatalf("after reopening: %v\n%s", err, cmp.Diff(want, got, near))
	}
	if got.Setup.Tolerance.Limit != want.Setup.Tolerance.Limit || got.Setup.Tolerance.Span != 300*units.Millimetre {
		t.Errorf("tolerance came back as %+v", got.Setup.Tolerance)
	}
	back, err := s.Points(ctx, id)
	if err != nil {
		t.Fatal(err)
	}
	samePoints(t, back, pts)
}

func TestNewestResultIsShown(t *testing.T) {
	ctx := t.Context()
	s := fresh(t)
	id := begin(t, s)
	if err := s.FinishRun(ctx, id, Finished, day, "", resultOf(1e-4, 0)); err != nil {
		t.Fatal(err)
	}
	newer := *resultOf(1.1e-4, 1e-5)
	newer.Model, newer.ModelVersion = "full", 3
	newer.Covariance[0][1] = math.NaN()
	if err := s.AddResult(ctx, id, newer); err != nil {
		t.Fatal(err)
	}
	got, err := s.Run(ctx, id)
	if err != nil {
		t.Fatal(err)
	}
	newer.Covariance = [2][2]float64{}
	if !cmp.Equal(*got.Result, newer, near) {
		t.Error(cmp.Diff(newer, *got.Result, near))
	}
	var kept int
	if err := s.r.QueryRow("SELECT count(*) FROM result WHERE run_id = ?", id).Scan(&kept); err != nil || kept != 2 {
		t.Errorf("%d results kept (%v), want both", kept, err)
	}
	if err := s.AddResult(ctx, 99, newer); !errors.Is(err, ErrNotFound) {
		t.Errorf("got %v, want ErrNotFound", err)
	}
}

func TestRunJSON(t *testing.T) {
	s := fresh(t)
	id := begin(t, s)
	if err := s.FinishRun(t.Context(), id, Finished, day.Add(time.Minute), "", resultOf(1e-4, 0)); err != nil {
		t.Fatal(err)
	}
	run, err := s.Run(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	text, err := json.Marshal(run)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`"id":1`, `"outcome":"finished"`, `"started_at":"2026-03-02T07:30:00.123456Z"`,
		`"ended_at":"2026-03-02T07:31:00.123456Z"`, `"tolerance":"0.02/300"`, `"result":{"model":"plain"`,
		`"untagged":0`, `"clock_set":true`} {
		if !strings.Contains(string(text), want) {
			t.Errorf("%s\ndoes not hold %s", text, want)
		}
	}
}

func TestRunsPageByPage(t *testing.T) {
	ctx := t.Context()
	s := fresh(t)
	for i := range 7 {
		id := begin(t, s)
		// The wall clock runs backwards; the order must not.
		o := []Outcome{Finished, Abandoned, Failed}[i%3]
		if err := s.FinishRun(ctx, id, o, day.Add(-time.Duration(i)*time.Hour), "", nil); err != nil {
			t.Fatal(err)
		}
	}
	running := begin(t, s)
	var ids []int64
	for before := int64(0); ; {
		page, err := s.Runs(ctx, before, 3)
		if err != nil {
			t.Fatal(err)
		}
		if len(page) == 0 {
			break
		}
		for _, r := range page {
			ids = append(ids, r.ID)
		}
		before = ids[len(ids)-1]
	}
	if !cmp.Equal(ids, []int64{8, 7, 6, 5, 4, 3, 2, 1}) {
		t.Errorf("got %v", ids)
	}
	counts, err := s.RunCounts(ctx)
	want := map[RunKey]uint64{{"sweep", Finished}: 3, {"sweep", Abandoned}: 2, {"sweep", Failed}: 2}
	if err != nil || !cmp.Equal(counts, want) {
		t.Errorf("got %v, %v, want %v", counts, err, want)
	}
	last, err := s.LastFinished(ctx, "sweep")
	if err != nil || last.ID != 7 {
		t.Errorf("last finished: %+v, %v, want run 7", last, err)
	}
	if _, err := s.LastFinished(ctx, "bar"); !errors.Is(err, ErrNotFound) {
		t.Errorf("got %v, want ErrNotFound", err)
	}
	var setups int
	if err := s.r.QueryRow("SELECT count(*) FROM setup").Scan(&setups); err != nil || setups != 1 {
		t.Errorf("%d setups stored (%v), want one for all", setups, err)
	}
	if found, err := s.RecoverUnfinished(ctx); err != nil || !cmp.Equal(found, []int64{running}) {
		t.Errorf("recovered %v, %v, want run %d", found, err, running)
	}
}

// The cache of setups must not let one caller change what the next one sees.
func TestSetupsAreCopies(t *testing.T) {
	s := fresh(t)
	id := begin(t, s)
	for range 2 {
		run, err := s.Run(t.Context(), id)
		if err != nil {
			t.Fatal(err)
		}
		if got := run.Setup.Indicators[0].Name; got != "arm" {
			t.Fatalf("indicator is called %q", got)
		}
		run.Setup.Indicators[0].Name = "changed"
	}
}

func TestRefusals(t *testing.T) {
	ctx := t.Context()
	s := fresh(t)
	id := begin(t, s)
	ended := begin(t, s)
	if err := s.FinishRun(ctx, ended, Abandoned, day, "stopped by hand", nil); err != nil {
		t.Fatal(err)
	}
	one := []sweep.Point{{T: 1, Angle: 1, Reading: 1}}
	noText := setupOf(t, "")
	noText.Tolerance.Limit = 1e-4
	notFinite := setupOf(t, "")
	notFinite.Indicators[0].PhaseDeg = math.NaN()
	for name, tc := range map[string]struct {
		err  error
		is   error
		says string
	}{
		"readings of no run":     {s.AppendPoints(ctx, 99, one), ErrNotFound, "store readings of run 99: not found"},
		"readings after the end": {s.AppendPoints(ctx, ended, one), ErrEnded, "run has already ended: abandoned"},
		"reading not finite": {s.AppendPoints(ctx, id, []sweep.Point{one[0], {Reading: math.Inf(1)}}), nil,
			"run 1: reading 2: length +Inf mm"},
		"ending twice":            {s.FinishRun(ctx, ended, Finished, day, "", nil), ErrEnded, "end run 2"},
		"ending no run":           {s.FinishRun(ctx, 99, Finished, day, "", nil), ErrNotFound, "end run 99"},
		"an outcome of one's own": {s.FinishRun(ctx, id, "done", day, "", nil), nil, `"done" is not an outcome`},
		"result not finite":       {s.FinishRun(ctx, id, Finished, day, "", resultOf(math.NaN(), 0)), nil, "result"},
		"no kind":                 {second(s.BeginRun(ctx, NewRun{Setup: setupOf(t, "")})), nil, "no kind given"},
		"tolerance without text": {second(s.BeginRun(ctx, NewRun{Kind: "sweep", Setup: noText})), nil,
			"only its text is stored"},
		"setup not finite": {second(s.BeginRun(ctx, NewRun{Kind: "sweep", Setup: notFinite})), nil, "setup"},
		"event of no known kind": {second(s.AddEvent(ctx, Event{At: day, Kind: "polished"})), nil,
			"use adjusted, crashed, serviced, moved, acknowledged, note, hours"},
		"event without a time": {second(s.AddEvent(ctx, Event{Kind: "note"})), nil, "no time given"},
		"event of a run not there": {second(s.AddEvent(ctx, Event{At: day, Kind: "note", Run: 99})), ErrNotFound,
			"run 99: not found"},
	} {
		if tc.err == nil || tc.is != nil && !errors.Is(tc.err, tc.is) || !strings.Contains(tc.err.Error(), tc.says) {
			t.Errorf("%s: got %v, want one that is %v and says %q", name, tc.err, tc.is, tc.says)
		}
	}
	if _, err := s.Run(ctx, 99); !errors.Is(err, ErrNotFound) {
		t.Errorf("run 99: %v", err)
	}
	if _, err := s.Points(ctx, 99); !errors.Is(err, ErrNotFound) {
		t.Errorf("readings of run 99: %v", err)
	}
	// A refused result must not have ended the run, nor a refused reading have left its neighbour behind.
	run, err := s.Run(ctx, id)
	if err != nil || run.Outcome != "" || run.Readings != 0 || run.Result != nil {
		t.Errorf("after the refusals: %+v, %v", run, err)
	}
}

func second[T any](_ T, err error) error { return err }

func TestEvents(t *testing.T) {
	ctx := t.Context()
	s := fresh(t)
	run := begin(t, s)
	want := []Event{
		{At: day.Add(-time.Hour), Kind: "crashed", Text: "a clamp was in the way", Run: run},
		{At: day, Kind: "adjusted", Text: "plate swung"},
	}
	for i := range want {
		id, err := s.AddEvent(ctx, want[i])
		if err != nil {
			t.Fatal(err)
		}
		want[i].ID = id
	}
	got, err := s.Events(ctx, 10)
	if err != nil || !cmp.Equal(got, []Event{want[1], want[0]}) {
		t.Errorf("%v\n%s", err, cmp.Diff([]Event{want[1], want[0]}, got))
	}
	if got, err = s.Events(ctx, 1); err != nil || len(got) != 1 {
		t.Errorf("got %v, %v, want one", got, err)
	}
}

// An event that was taken back no longer counts, stays in the list, and cannot be taken back twice.
func TestAnEventIsTakenBackOnce(t *testing.T) {
	ctx := t.Context()
	s := fresh(t)
	crashed, err := s.AddEvent(ctx, Event{At: day, Kind: "crashed", Text: "of another machine"})
	if err != nil {
		t.Fatal(err)
	}
	hours, err := s.AddEvent(ctx, Event{At: day, Kind: "hours", Text: "1520.5"})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.UndoEvent(ctx, crashed, day.Add(time.Minute)); err != nil {
		t.Fatal(err)
	}
	if err := s.UndoEvent(ctx, crashed, day.Add(time.Hour)); !errors.Is(err, ErrEvent) ||
		!strings.Contains(err.Error(), "it was taken back on") {
		t.Errorf("twice: %v", err)
	}
	if err := s.UndoEvent(ctx, hours, day); !errors.Is(err, ErrEvent) ||
		!strings.Contains(err.Error(), "log the right hours") {
		t.Errorf("hours: %v", err)
	}
	if err := s.UndoEvent(ctx, 99, day); !errors.Is(err, ErrNotFound) {
		t.Errorf("an unknown event: %v", err)
	}
	got, err := s.Events(ctx, 10)
	if err != nil || len(got) != 2 || got[1].Undone == nil || !got[1].Undone.Equal(day.Add(time.Minute)) ||
		got[0].Undone != nil {
		t.Errorf("%v, %+v", err, got)
	}
	h, _, err := s.History(ctx, "linnet", Mark{})
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range h.Entries {
		if e.Event != nil && e.Event.Kind == "crashed" {
			t.Errorf("the history still has %+v", *e.Event)
		}
	}
}

// A damaged chunk costs its own readings and no others.
func TestDamagedChunk(t *testing.T) {
	ctx := t.Context()
	s := fresh(t)
	id := begin(t, s)
	pts := handTurned(rand.New(rand.NewPCG(9, 10)), 300)
	for first := 0; first < 300; first += 100 {
		if err := s.AppendPoints(ctx, id, pts[first:first+100]); err != nil {
			t.Fatal(err)
		}
	}
	if _,
		err := s.w.Exec(
		"UPDATE chunk SET data = CAST(substr(data, 1, 20) || x'00' || substr(data, 22) AS BLOB) WHERE seq = 1"); err !=
		nil {
		t.Fatal(err)
	}
	got, err := s.Points(ctx, id)
	if !errors.Is(err, ErrDamaged) || !strings.Contains(err.Error(), "chunk 1") {
		t.Errorf("got %v, want ErrDamaged that names chunk 1", err)
	}
	samePoints(t, got, append(append([]sweep.Point(nil), pts[:100]...), pts[200:]...))
}

// More readings than one chunk holds are still one commit.
func TestManyReadingsAtOnce(t *testing.T) {
	s := fresh(t)
	id := begin(t, s)
	pts := handTurned(rand.New(rand.NewPCG(11, 12)), maxChunk+10)
	if err := s.AppendPoints(t.Context(), id, pts); err != nil {
		t.Fatal(err)
	}
	got, err := s.Points(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	samePoints(t, got, pts)
}
