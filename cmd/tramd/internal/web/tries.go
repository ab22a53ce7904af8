package web

import (
	"net/netip"
	"sync"
	"time"
)

// How many wrong passwords are heard: a burst for a person with cold fingers, then a trickle.
const (
	triesEach    = 5                // from one address at once
	triesRefill  = 12 * time.Second // until one more
	triesAll     = 30               // from all addresses together
	triesAllFill = 2 * time.Second
	maxTriers    = 1024 // addresses remembered
)

// bucket is a token bucket: left tokens at the moment at.
type bucket struct {
	left float64
	at   time.Time
}

func (b *bucket) fill(now time.Time, size float64, every time.Duration) {
	b.left = min(size, b.left+float64(now.Sub(b.at))/float64(every))
	b.at = now
}

// tries limits how fast passwords can be guessed.
type tries struct {
	now  func() time.Time
	mu   sync.Mutex
	all  bucket
	each map[netip.Addr]*bucket
}

func newTries(now func() time.Time) *tries {
	return &tries{now: now, all: bucket{left: triesAll, at: now()}, each: map[netip.Addr]*bucket{}}
}

// take spends one try, or says how long to wait for it.
func (t *tries) take(remote string) (wait time.Duration, ok bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	now := t.now()
	t.all.fill(now, triesAll, triesAllFill)
	b := t.of(origin(remote), now)
	if b.left < 1 {
		return time.Duration((1 - b.left) * float64(triesRefill)), false
	}
	if t.all.left < 1 {
		return time.Duration((1 - t.all.left) * float64(triesAllFill)), false
	}
	b.left--
	t.all.left--
	return 0, true
}

// forgive gives the tries back: the password was right.
func (t *tries) forgive(remote string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	delete(t.each, origin(remote))
	t.all.left = min(triesAll, t.all.left+1)
}

func (t *tries) of(who netip.Addr, now time.Time) *bucket {
	if b, ok := t.each[who]; ok {
		b.fill(now, triesEach, triesRefill)
		return b
	}
	if len(t.each) >= maxTriers {
		for a, b := range t.each {
			if b.fill(now, triesEach, triesRefill); b.left >= triesEach {
				delete(t.each, a)
			}
		}
	}
	b := &bucket{left: triesEach, at: now}
	if len(t.each) < maxTriers { // beyond that the bucket of all holds alone
		t.each[who] = b
	}
	return b
}

// origin is the address tries are counted by. One IPv6 host commands a whole /64, so that counts as one.
func origin(remote string) netip.Addr {
	ap, err := netip.ParseAddrPort(remote)
	if err != nil {
		return netip.Addr{}
	}
	a := ap.Addr().Unmap().WithZone("")
	if a.Is6() {
		if p, err := a.Prefix(64); err == nil {
			return p.Addr()
		}
	}
	return a
}
