package mixed

import (
	"runtime"
	"sync"
)

// shareLeast is how many things are worth a goroutine: a sweep of some thousand readings has fewer segments, and a daemon
// that fits one leaves the other processors to the machine.
const shareLeast = 4096

// inShares calls fn for every stretch [lo, hi) of n things, many of them side by side. What fn writes must be the
// thing's own, so that the outcome does not depend on how many processors there are.
func inShares(n int, fn func(lo, hi int)) {
	shares := max(1, min(runtime.GOMAXPROCS(0), n/shareLeast))
	var others sync.WaitGroup
	for k := 1; k < shares; k++ {
		others.Go(func() { fn(k*n/shares, (k+1)*n/shares) })
	}
	fn(0, n/shares)
	others.Wait()
}

// meanwhile starts a piece of work on n things beside the caller's own where there are many, does it at once where there
// are few, and returns how to wait for it.
func meanwhile(n int, work func()) (wait func()) {
	if n < 16*shareLeast || runtime.GOMAXPROCS(0) == 1 {
		work()
		return func() {}
	}
	var other sync.WaitGroup
	other.Go(work)
	return other.Wait
}
