package clock

import (
	"os"
	"strconv"
	"strings"
	"testing"
	"time"
)

func TestTheBootIsTheKernels(t *testing.T) {
	if id := BootID(); len(id) != 36 {
		t.Errorf("boot id %q is not a UUID", id)
	}
	text, err := os.ReadFile("/proc/uptime")
	if err != nil {
		t.Fatal(err)
	}
	uptime, err := strconv.ParseFloat(strings.Fields(string(text))[0], 64)
	if err != nil {
		t.Fatal(err)
	}
	// CLOCK_BOOTTIME is what the kernel prints there (proc(5)).
	if d := SinceBoot().Seconds() - uptime; d < -0.1 || d > 5 {
		t.Errorf("since boot %v, the kernel says %v s", SinceBoot(), uptime)
	}
	w := NewWatcher(System(false))
	w.Look()
	if got := w.IsSet(); got != IsSet() {
		t.Errorf("the watcher says %v", got)
	}
	if d := time.Since(w.booted) - SinceBoot(); d < -time.Second || d > time.Second {
		t.Errorf("boot was at %v, which is %v off", w.booted, d)
	}
}
