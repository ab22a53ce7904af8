package memtrim

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
)

// Mappings as proc(5) shows them: code, constants, constants the loader filled in, data, another file, no file.
const smaps = `00400000-00401000 r--p 00000000 fe:00 12                                 /usr/bin/tramd
Rss:                   4 kB
Anonymous:             0 kB
VmFlags: rd mr mw me
00401000-00c00000 r-xp 00001000 fe:00 12                                 /usr/bin/tramd
Rss:                8188 kB
Anonymous:             0 kB
00c00000-00c01000 r--p 00800000 fe:00 12                                 /usr/bin/tramd
Rss:                   4 kB
Anonymous:             4 kB
00c01000-00d00000 rw-p 00801000 fe:00 12                                 /usr/bin/tramd
Rss:                1020 kB
Anonymous:             0 kB
00d00000-00e00000 r-xs 00000000 fe:00 12                                 /usr/bin/tramd
Anonymous:             0 kB
7f0000000000-7f0000100000 r-xp 00000000 fe:00 13                         /usr/lib/libc.so.6
Anonymous:             0 kB
7f0000200000-7f0000300000 r--p 00000000 00:00 0 
Anonymous:             0 kB
`

func TestOnlyUnchangedPartsOfTheProgram(t *testing.T) {
	got, err := unchanged(strings.NewReader(smaps), "/usr/bin/tramd")
	if want := []span{{0x400000, 0x401000}, {0x401000, 0xc00000}}; err != nil || !slices.Equal(got, want) {
		t.Errorf("%x %v", got, err)
	}
	for _, odd := range []string{"00400000 r--p /usr/bin/tramd\n", "zz-00401000 r--p 0 0 0 /usr/bin/tramd\n"} {
		if got, err := unchanged(strings.NewReader(odd), "/usr/bin/tramd"); err == nil {
			t.Errorf("%q read as %x", odd, got)
		}
	}
}

// The kernel's own account of this very process: less of its file is in memory afterwards, and it goes on working.
func TestTrimLeavesAWorkingProcess(t *testing.T) {
	touched := fmt.Sprint(os.Args, t.Name(), slices.Sorted(slices.Values([]int{3, 1, 2})))
	before := fileKB(t)
	if err := Trim(); err != nil {
		t.Fatal(err)
	}
	if after := fileKB(t); after >= before {
		t.Errorf("%d kB of files in memory, before %d", after, before)
	}
	if again := fmt.Sprint(os.Args, t.Name(), slices.Sorted(slices.Values([]int{3, 1, 2}))); again != touched {
		t.Errorf("%q became %q", touched, again)
	}
}

func fileKB(t *testing.T) (kB int) {
	t.Helper()
	text, err := os.ReadFile("/proc/self/status")
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(text)) {
		_, _ = fmt.Sscanf(line, "RssFile: %d", &kB)
	}
	if kB == 0 {
		t.Fatalf("the kernel does not say:\n%s", text)
	}
	return kB
}
