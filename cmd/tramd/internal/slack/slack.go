// Package slack lets the kernel end the sleeps of this program's threads up to a millisecond late (prctl(2),
// PR_SET_TIMERSLACK; 0.05 ms where nothing is said). The Go runtime's monitor sleeps for 0.02 ms again and again while
// any goroutine runs, and a wake-up costs as much as decoding a hundred lines. What must be on time waits for events,
// or for a timerfd, which knows no slack. Importing the package is enough.
package slack

import "C"
