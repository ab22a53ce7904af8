package devicetest

import (
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// CPU returns the processor time of this process so far.
func CPU(b *testing.B) time.Duration {
	var u unix.Rusage
	if err := unix.Getrusage(unix.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
