package session

import (
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
)

// One check that is outside is one, though it ends after it began; the next one bears it out.
func TestACheckThatEndsAfterItBeganBearsNothingOut(t *testing.T) {
	began := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	alarm := api.Alarm{Kind: "outside", Axis: "tilt", Since: began}
	for name, c := range map[string]struct {
		last  *api.LastRun
		since time.Time
		again bool
	}{
		"no check on record": {nil, began, false},
		"the check itself": {
			&api.LastRun{Started: began.Add(3 * time.Millisecond), At: began.Add(4 * time.Minute)},
			began.Add(4 * time.Minute), false},
		"a check before it": {&api.LastRun{Started: began.Add(-time.Hour), At: began.Add(-50 * time.Minute)},
			began, false},
		"the next check": {&api.LastRun{Started: began.Add(5 * time.Minute), At: began.Add(9 * time.Minute)},
			began, true},
		"one whose start is not known": {&api.LastRun{At: began.Add(24 * time.Hour)}, began, true},
	} {
		if since, again := c.last.Found(alarm); !since.Equal(c.since) || again != c.again {
			t.Errorf("%s: since %v, again %v", name, since, again)
		}
	}
}
