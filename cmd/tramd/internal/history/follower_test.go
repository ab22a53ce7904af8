package history

import (
	"context"
	"encoding/json"
	"log/slog"
	"maps"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/session"
	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/drift"
	"tramd/sweep/units"
)

// bench is a record with what works out its drift, without ports.
type bench struct {
	t       *testing.T
	store   *store.Store
	session *session.Session
	drift   *Follower
	setup   sweep.Setup
	day     int
}

func newBench(t *testing.T) *bench {
	t.Helper()
	s, err := store.Open(t.Context(), filepath.Join(t.TempDir(), "linnet.db"), store.Options{BootID: "boot-1"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	tol, err := units.ParseTolerance("0.02/300")
	if err != nil {
		t.Fatal(err)
	}
	setup := sweep.Setup{Machine: "linnet", Tolerance: tol, AngleSource: "stations",
		StationsDeg: []float64{0, 90, 180, 270},
		Indicators:  []sweep.Indicator{{Name: "arm", RadiusMM: 120, ResolutionMM: 0.001}}}
	sess, err := session.New(session.Options{Setup: setup, Indicators: []session.IndicatorRoute{{}},
		Angle: session.AngleRoute{Device: -1}})
	if err != nil {
		t.Fatal(err)
	}
	b := &bench{t: t, store: s, session: sess, setup: setup}
	b.drift = b.follower()
	return b
}

func (b *bench) follower() *Follower {
	return New(Options{Store: b.store, Config: &config.Config{Machine: config.Machine{Name: "linnet"}},
		ClockSet: func() bool { return true },
		Log:      slog.New(slog.DiscardHandler)})
}

func (b *bench) at() time.Time {
	return time.Date(2026, 3, 1, 7, 30, 0, 0, time.UTC).AddDate(0, 0, b.day)
}

func (b *bench) check(tilt float64) {
	b.t.Helper()
	b.day++
	id, err := b.store.BeginRun(b.t.Context(), store.NewRun{Kind: "sweep", Purpose: "check", Setup: b.setup,
		StartedAt: b.at(), ClockSet: true})
	if err != nil {
		b.t.Fatal(err)
	}
	axis := func(mmPerM float64) *sweep.Axis {
		return &sweep.Axis{Slope: units.Slope(mmPerM) * units.MMPerM, U: 0.003 * units.MMPerM,
			Expanded: 0.006 * units.MMPerM, Verdict: sweep.Within}
	}
	x := 0.002 * float64(b.day*5%7-3)
	if err := b.store.FinishRun(b.t.Context(), id, store.Finished, b.at(), "",
		&sweep.Result{Model: "plain", Tilt: axis(tilt + x), Nod: axis(-x)}); err != nil {
		b.t.Fatal(err)
	}
}

func (b *bench) event(kind string) {
	b.t.Helper()
	if _, err := b.store.AddEvent(b.t.Context(), store.Event{At: b.at().Add(time.Hour), Kind: kind}); err != nil {
		b.t.Fatal(err)
	}
}

func (b *bench) work() *api.Snapshot {
	b.t.Helper()
	if err := b.drift.work(b.t.Context(), b.session); err != nil {
		b.t.Fatal(err)
	}
	snap, err := b.session.Snapshot(b.t.Context())
	if err != nil {
		b.t.Fatal(err)
	}
	return snap
}

func TestDriftOfTheRecord(t *testing.T) {
	b := newBench(t)
	if _, err := b.drift.Drift(t.Context()); err == nil {
		t.Error("a history before it was worked out")
	}
	if snap := b.work(); snap.Drift != nil || snap.NextCheck == nil || time.Since(*snap.NextCheck) > time.Minute ||
		!strings.Contains(snap.NextWhy, "no check yet") {
		t.Errorf("an empty record says %+v, %v", snap.Drift, snap.NextCheck)
	}
	for range 20 {
		b.check(0.01)
	}
	snap := b.work()
	if snap.Drift == nil || snap.Drift.TiltRate == nil || len(snap.Drift.Alarms) != 0 || snap.NextCheck == nil ||
		!snap.NextCheck.After(b.at()) {
		t.Fatalf("a quiet machine: %+v, next %v", snap.Drift, snap.NextCheck)
	}
	for range 10 {
		b.check(0.03)
		b.work() // one by one, as a daemon does
	}
	snap = b.work()
	if len(snap.Drift.Alarms) != 1 {
		t.Fatalf("after a shift: %+v", snap.Drift.Alarms)
	}
	if a := snap.Drift.Alarms[0]; a.Kind != "shift" || a.Axis != "tilt" || a.Text == "" || a.Size < 0.015 ||
		a.Size > 0.025 {
		t.Errorf("%+v", a)
	}
	// Taken in one by one or all at once makes no difference, and neither does a restart.
	one := b.view()
	b.drift = b.follower()
	b.work()
	if d := cmp.Diff(one, b.view()); d != "" {
		t.Errorf("worked out again: %s", d)
	}
	b.event("serviced")
	snap = b.work()
	if len(snap.Drift.Alarms) != 0 || snap.NextCheck == nil || !snap.NextCheck.Equal(b.at().Add(time.Hour)) ||
		snap.NextWhy == "" {
		t.Errorf("after the event: %+v, next %v", snap.Drift.Alarms, snap.NextCheck)
	}
	if v := b.view(); v["why"] == nil || len(v["events"].([]any)) != 1 || v["total"] != 30.0 {
		t.Errorf("%v", v)
	}
}

func (b *bench) view() map[string]any {
	b.t.Helper()
	v, err := b.drift.Drift(b.t.Context())
	if err != nil {
		b.t.Fatal(err)
	}
	text, err := json.Marshal(v)
	if err != nil {
		b.t.Fatal(err)
	}
	var out map[string]any
	if err := json.Unmarshal(text, &out); err != nil {
		b.t.Fatal(err)
	}
	return out
}

// A tolerance that changed, another surface, and checks dated later are all seen as if they had always been known.
func TestDriftGoesOnAsIfReadAgain(t *testing.T) {
	b := newBench(t)
	same := func(what string) {
		t.Helper()
		b.work()
		one := b.view()
		fresh := &bench{t: t, session: b.session, drift: b.follower()}
		fresh.work()
		if d := cmp.Diff(fresh.view(), one); d != "" {
			t.Errorf("%s: %s", what, d)
		}
	}
	for range 5 {
		b.check(0.01)
		same("a check")
	}
	b.setup.Tolerance, _ = units.ParseTolerance("0.03/300")
	b.check(0.01)
	same("another tolerance")
	b.setup.Surface = "granite plate"
	b.check(0.02)
	same("another surface")
	b.event("crashed")
	same("an event")
}

func TestDriftRunsByItself(t *testing.T) {
	b := newBench(t)
	for range 4 {
		b.check(0.01)
	}
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() { b.drift.Run(ctx, b.session); close(ended) }()
	wait := func(total float64) {
		t.Helper()
		for range 6000 {
			if v, err := b.drift.Drift(ctx); err == nil && v.Total == int(total) {
				return
			}
			time.Sleep(10 * time.Millisecond)
		}
		t.Fatalf("%v checks were not worked out", total)
	}
	wait(4)
	b.check(0.01)
	b.drift.Changed(false)
	wait(5)
	stop()
	<-ended
}

func TestTheLastEventOfEachKind(t *testing.T) {
	day := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	h := &drift.History{Entries: []drift.Entry{
		{Event: &drift.Event{Time: day.AddDate(0, 0, 3), Kind: "adjusted"}},
		{Event: &drift.Event{Time: day, Kind: "adjusted"}},
		{Event: &drift.Event{Time: day, Kind: "crashed"}}, {Event: &drift.Event{Time: day, Kind: "note"}},
		{Check: &drift.Check{Time: day}},
	}}
	want := map[string]time.Time{"adjusted": day.AddDate(0, 0, 3), "crashed": day}
	if got := lastEvents(h); !maps.Equal(got, want) {
		t.Errorf("%v", got)
	}
}
