package largepages

import (
	"bufio"
	"os"
	"strings"
	"testing"
)

// advised counts the mappings of this process that may have large pages (proc(5), /proc/pid/smaps, VmFlags: hg).
func advised(t *testing.T) (n int) {
	t.Helper()
	f, err := os.Open("/proc/self/smaps")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for in := bufio.NewScanner(f); in.Scan(); {
		if flags, ok := strings.CutPrefix(in.Text(), "VmFlags:"); ok && strings.Contains(flags+" ", " hg ") {
			n++
		}
	}
	return n
}

func TestLargePagesAreAskedFor(t *testing.T) {
	before := advised(t)
	if Prepare(1 << 20); advised(t) != before {
		t.Errorf("a little memory: %d mappings of large pages, before %d", advised(t), before)
	}
	Prepare(64 << 20)
	if advised(t) == 0 { // a second run in one process may be given the pages of the first
		t.Error("no mapping may have large pages")
	}
	work := make([]byte, 48<<20)
	for i := range work {
		if work[i] != 0 {
			t.Fatal("memory is not zero")
		}
		work[i] = 1
	}
}
