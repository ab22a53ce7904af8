package watchdog

import (
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/session"
	"tramd/device"
)

func TestEachPartThatHangsIsNamed(t *testing.T) {
	const now = device.Stamp(time.Hour)
	ago := func(d time.Duration) device.Stamp { return now - device.Stamp(d) }
	for _, c := range []struct {
		name  string
		pulse session.Pulse
		busy  time.Duration // -1: the reader waits for bytes
		ended bool
		want  string
	}{
		{"all is well", session.Pulse{Tick: ago(time.Second), Store: ago(time.Minute)}, -1, false, ""},
		{"a batch is being taken", session.Pulse{Tick: now, Store: now}, time.Second, false, ""},
		{"the session", session.Pulse{Tick: ago(11 * time.Second), Store: now}, -1, false,
			"the session has not moved for 11 s"},
		{"the store", session.Pulse{Tick: now, Store: ago(121 * time.Second)}, -1, false,
			"the store's queue has not moved for 121 s"},
		{"a sink that never comes back", session.Pulse{Tick: now, Store: now}, 12 * time.Second, false,
			`the reader of device "arm" has hung for 12 s`},
		{"a reader that ended", session.Pulse{Tick: now, Store: now}, -1, true, `the reader of device "arm" has ended`},
	} {
		r := &Reader{Name: "arm"}
		if c.busy >= 0 {
			r.busy.Store(int64(ago(c.busy)))
		}
		r.ended.Store(c.ended)
		err := hung(now, c.pulse, []*Reader{r})
		if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
}

func TestAReaderIsBusyOnlyWhileItHandsOn(t *testing.T) {
	r := &Reader{}
	var during int64
	r.Sink(func(device.Batch) { during = r.busy.Load() })(device.Batch{})
	if during == 0 || r.busy.Load() != 0 {
		t.Errorf("busy since %d while it handed on and %d after", during, r.busy.Load())
	}
}
