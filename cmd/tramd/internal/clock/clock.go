// Package clock says what a run's time is worth: which boot of the machine it belongs to, how long after boot, and
// whether the wall clock had been set by then. Most small computers in a shop have no clock of their own and wake up at
// a plausible date in the past, so the year alone proves nothing.
package clock

import (
	"os"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// BootID names the present boot of the machine; empty where the system does not say.
func BootID() string {
	text, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(text))
}

// SinceBoot returns the time since boot, suspend included; zero where the system does not say.
func SinceBoot() time.Duration {
	var ts unix.Timespec
	if unix.ClockGettime(unix.CLOCK_BOOTTIME, &ts) != nil {
		return 0
	}
	return time.Duration(ts.Nano())
}

// maxErrorSet is the estimated error, in microseconds, below which the kernel's clock counts as set: it grows to 16 s
// and stays there on a machine whose clock nothing disciplines (adjtimex(2); NTP_PHASE_LIMIT of the Linux kernel).
const maxErrorSet = 16_000_000

// synchronized is touched by systemd-timesyncd whenever it set the clock (systemd-timesyncd.service(8)).
const synchronized = "/run/systemd/timesync/synchronized"

// IsSet reports whether the wall clock has been set since boot, as far as can be seen now.
func IsSet() bool { return newTimekeepers().isSet() }

// kernelSet reports what the system's own signs say.
func kernelSet() bool {
	if _, err := os.Stat(synchronized); err == nil {
		return true
	}
	var tx unix.Timex
	if _, err := unix.Adjtimex(&tx); err != nil {
		return false
	}
	return tx.Maxerror < maxErrorSet
}
