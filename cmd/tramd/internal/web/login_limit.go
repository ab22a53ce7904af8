package web

import (
	"net/netip"
	"sync"
	"time"

	"golang.org/x/time/rate"

	"tramd/cmd/tramd/internal/peerlimit"
)

// How fast passwords may be guessed: a burst for a person with cold fingers, then a trickle.
const (
	guessesPerPeer = 5
	guessEvery     = 12 * time.Second
	guessesInAll   = 30
	guessInAll     = 2 * time.Second
	maxGuessers    = 1024 // addresses remembered
)

// loginLimit is a token bucket per address and one for all addresses together.
type loginLimit struct {
	now  func() time.Time
	mu   sync.Mutex
	all  *rate.Limiter
	each map[netip.Addr]*rate.Limiter
}

func newLoginLimit(now func() time.Time) *loginLimit {
	return &loginLimit{
		now: now, all: rate.NewLimiter(rate.Every(guessInAll), guessesInAll), each: map[netip.Addr]*rate.Limiter{},
	}
}

// take spends one guess, or returns how long remote has to wait for it.
func (l *loginLimit) take(remote string) (wait time.Duration, ok bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	now := l.now()
	own := l.peer(peerlimit.Peer(remote), now).ReserveN(now, 1)
	if wait = own.DelayFrom(now); wait > 0 {
		own.CancelAt(now)
		return wait, false
	}
	shared := l.all.ReserveN(now, 1)
	if wait = shared.DelayFrom(now); wait > 0 {
		shared.CancelAt(now)
		own.CancelAt(now)
		return wait, false
	}
	return 0, true
}

// forgive gives remote its whole burst back: the password was right.
func (l *loginLimit) forgive(remote string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	delete(l.each, peerlimit.Peer(remote))
}

// peer returns the bucket of an address. Full buckets are forgotten when too many are kept; beyond that a new address
// gets a bucket that is not kept, and the one for all addresses holds alone.
func (l *loginLimit) peer(addr netip.Addr, now time.Time) *rate.Limiter {
	if b, ok := l.each[addr]; ok {
		return b
	}
	if len(l.each) >= maxGuessers {
		for a, b := range l.each {
			if b.TokensAt(now) >= guessesPerPeer {
				delete(l.each, a)
			}
		}
	}
	b := rate.NewLimiter(rate.Every(guessEvery), guessesPerPeer)
	if len(l.each) < maxGuessers {
		l.each[addr] = b
	}
	return b
}
