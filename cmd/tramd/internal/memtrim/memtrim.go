// Package memtrim hands back memory that a piece of work needed and the daemon does not: free heap, and pages of the
// program's own file. Starting touches most of the program once, and Linux maps what lies around each touch as well;
// the kernel does not take that back while memory is plenty. A page that is needed once more comes from the page cache,
// without a read.
package memtrim

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"runtime/debug"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// A span is a range of addresses, the end not in it.
type span struct{ from, to uintptr }

// startTakes is when a start is over, with the first look at the record and the first page served.
const startTakes = 5 * time.Second

// OnceStarted gives back what only the start needed, unless ctx ends before.
func OnceStarted(ctx context.Context, log *slog.Logger) {
	select {
	case <-ctx.Done():
	case <-time.After(startTakes):
		Try(log)
	}
}

// Try trims after a large piece of work. Without it the daemon is larger and no worse, so a failure is only logged.
func Try(log *slog.Logger) {
	if err := Trim(); err != nil {
		log.Debug("memory is not given back", "error", err)
	}
}

// Trim gives unused heap and the unchanged parts of the program's file back to the kernel.
func Trim() error {
	debug.FreeOSMemory()
	exe, err := os.Readlink("/proc/self/exe")
	if err != nil {
		return err
	}
	f, err := os.Open("/proc/self/smaps")
	if err != nil {
		return err
	}
	defer func() { _ = f.Close() }()
	spans, err := unchanged(f, exe)
	if err != nil {
		return err
	}
	for _, s := range spans {
		if _, _, errno := unix.Syscall(unix.SYS_MADVISE, s.from, s.to-s.from, unix.MADV_DONTNEED); errno != 0 {
			return fmt.Errorf("give back %x-%x: %w", s.from, s.to, errno)
		}
	}
	return nil
}

// unchanged reads the kernel's list of mappings (proc(5), /proc/pid/smaps) for those of a file that cannot be written
// and was not: a page of these reads the same after it was dropped. Pages that the loader filled in and then
// locked look alike but for being anonymous, and dropping one of them would lose what it holds.
func unchanged(smaps io.Reader, file string) ([]span, error) {
	var found []span
	var at span
	candidate := false
	in := bufio.NewScanner(smaps)
	for in.Scan() {
		line := in.Text()
		key, rest, _ := strings.Cut(line, " ")
		if !strings.HasSuffix(key, ":") {
			var mode string
			at = span{}
			if n, err := fmt.Sscanf(line, "%x-%x %s", &at.from, &at.to, &mode); n != 3 || err != nil {
				return nil, fmt.Errorf("a mapping reads %q", line)
			}
			candidate = strings.HasSuffix(line, " "+file) && len(mode) == 4 && mode[1] == '-' && mode[3] == 'p' &&
				at.to > at.from
			continue
		}
		if candidate && key == "Anonymous:" && strings.Join(strings.Fields(rest), " ") == "0 kB" {
			found = append(found, at)
		}
	}
	return found, in.Err()
}
