package maintenance

import (
	"context"
	"errors"
	"log/slog"
	"slices"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/config"
	"tramd/store"
)

// ledger is a store of which only the chores are kept.
type ledger struct {
	last    time.Time
	made    []time.Time
	fail    error
	old     [][]int64 // batches still to be let go
	now     *time.Time
	asked   []time.Time
	dropErr error
	folded  int
}

func (l *ledger) Chore(context.Context, string) (time.Time, error) { return l.last, nil }
func (l *ledger) SetChore(_ context.Context, _ string, at time.Time) error {
	l.last = at
	return nil
}
func (l *ledger) Backup(context.Context, string, store.BackupOptions) (string, []string, error) {
	if l.fail != nil {
		return "", nil, l.fail
	}
	l.made = append(l.made, *l.now)
	return "b.db", nil, nil
}
func (l *ledger) Fold(context.Context) (bool, error) {
	l.folded++
	return true, nil
}
func (l *ledger) DropReadings(_ context.Context, before time.Time) ([]int64, error) {
	l.asked = append(l.asked, before)
	if l.dropErr != nil || len(l.old) == 0 {
		return nil, l.dropErr
	}
	batch := l.old[0]
	l.old = l.old[1:]
	return batch, nil
}

func TestBackupsAreMadeUpFor(t *testing.T) {
	now := time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)
	l := &ledger{now: &now}
	set, idle, troubles := true, true, map[string]string{}
	b := config.Backup{To: "/mnt/stick", At: "02:30", Keep: 3}
	c := &chores{store: l, log: slog.New(slog.DiscardHandler), backup: b, trouble: func(k, why string) {
		troubles[k] = why
	},
		clockSet: func() bool { return set }, now: func() time.Time { return now }, idle: func() bool { return idle },
		began: now}
	look := func(what string, after time.Duration, want int) {
		t.Helper()
		now = now.Add(after)
		before := len(l.made)
		c.look(t.Context())
		if got := len(l.made) - before; got != want {
			t.Errorf("%s: %d backups, want %d", what, got, want)
		}
	}
	idle = false
	look("a sweep is in hand", 0, 0)
	idle = true
	look("switched on in the morning, never backed up", time.Minute, 1)
	look("done for today", time.Minute, 0)
	look("still the same day", 19*time.Hour, 0) // 02:02
	l.fail = errors.New("the stick is not there")
	look("at night, without the stick", 30*time.Minute, 0)
	if troubles["backup"] != "the stick is not there" {
		t.Errorf("troubles %v", troubles)
	}
	l.fail = nil
	look("not tried again at once", time.Minute, 0)
	look("the stick is back", 15*time.Minute, 1)
	if troubles["backup"] != "" {
		t.Errorf("troubles %v", troubles)
	}
	look("once a night", time.Hour, 0)
	l.last = now.AddDate(5, 0, 0) // written by a clock that ran ahead
	look("the clock had run ahead", time.Hour, 1)
	set = false
	look("with a clock that is not set, a day after the last", 23*time.Hour, 0)
	look("", 2*time.Hour, 1)
	look("", 2*time.Hour, 0)
	c.backup = config.Backup{}
	look("none wanted", 100*24*time.Hour, 0)
}

func TestOldReadingsGoInBatches(t *testing.T) {
	now := time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)
	l := &ledger{now: &now, old: [][]int64{{1, 2}, {3}}}
	set := false
	c := &chores{store: l, log: slog.New(slog.DiscardHandler), kept: 400 * 24 * time.Hour,
		trouble:  func(string, string) {},
		clockSet: func() bool { return set }, now: func() time.Time { return now }, idle: func() bool { return true }}
	c.look(t.Context())
	if len(l.asked) != 0 {
		t.Fatal("readings were let go by a clock that is not set")
	}
	set = true
	var batches []int
	for range 120 { // two hours
		asked := len(l.asked)
		c.look(t.Context())
		batches = append(batches, len(l.asked)-asked)
		now = now.Add(time.Minute)
	}
	// two batches, none left, and again in an hour
	if n := len(l.asked); n != 4 || !slices.Equal(batches[:4], []int{1, 1, 1, 0}) {
		t.Errorf("asked %d times: %v", n, batches)
	}
	if want := time.Date(2025, 1, 26, 7, 0, 0, 0, time.UTC); !l.asked[0].Equal(want) {
		t.Errorf("let go before %v, want %v", l.asked[0], want)
	}
}

// The write-ahead log is folded in at each look, but never in a sweep, which a slow card would hold up.
func TestTheLogIsFoldedInBetweenSweeps(t *testing.T) {
	now := time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)
	l := &ledger{now: &now}
	idle := false
	c := &chores{store: l, log: slog.New(slog.DiscardHandler), trouble: func(string, string) {},
		clockSet: func() bool { return true }, now: func() time.Time { return now }, idle: func() bool { return idle },
		began: now}
	see := func(what string, want int) {
		t.Helper()
		if l.folded != want {
			t.Errorf("%s: folded %d times, want %d", what, l.folded, want)
		}
	}
	c.look(t.Context())
	c.foldAfterRun(t.Context())
	see("in a sweep", 0)
	idle = true
	c.foldAfterRun(t.Context())
	see("after it", 1)
	c.foldAfterRun(t.Context())
	c.look(t.Context())
	see("nothing new", 1)
	now = now.Add(11 * time.Minute)
	c.look(t.Context())
	see("later", 2)
}
