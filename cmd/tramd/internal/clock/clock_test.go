package clock

import (
	"os"
	"strconv"
	"strings"
	"testing"
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
	if got := Watch()(); got != IsSet() {
		t.Errorf("watch says %v", got)
	}
}
