package web

import (
	"context"
	"net/http"
	"net/netip"
	"sync"
	"time"

	"tramd/cmd/tramd/internal/shares"
)

// How many requests may look into the record at once. Each holds its whole answer in memory until the client has taken it.
const (
	maxLooks      = 8
	maxLooksOfOne = 4 // of one address, so that a guest leaves room for the others
	lookPatience  = 10 * time.Second
)

// places are given out to those who come, and waited for when there are none.
type places struct {
	shares *shares.Shares
	mu     sync.Mutex
	freed  chan struct{} // closed, and made anew, when a place is given back
}

func newPlaces() *places {
	return &places{shares: shares.New(maxLooks, maxLooksOfOne), freed: make(chan struct{})}
}

// take waits for a place until ctx ends. This machine itself may have all: a proxy speaks for many.
func (p *places) take(ctx context.Context, from netip.Addr) bool {
	for {
		p.mu.Lock()
		freed := p.freed // before it is tried, so that none given back meanwhile is missed
		p.mu.Unlock()
		if p.shares.Enter(from, !from.IsValid() || from.IsLoopback()) {
			return true
		}
		select {
		case <-freed:
		case <-ctx.Done():
			return false
		}
	}
}

func (p *places) give(from netip.Addr) {
	p.shares.Leave(from)
	p.mu.Lock()
	defer p.mu.Unlock()
	close(p.freed)
	p.freed = make(chan struct{})
}

// looks lets a request in that reads the record, when there is a place for it. What changes something, and the stream, wait for
// none of those.
func (s *server) looks(next http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		from := origin(r.RemoteAddr)
		ctx, cancel := context.WithTimeout(r.Context(), lookPatience)
		in := s.places.take(ctx, from)
		cancel()
		if !in {
			w.Header().Set("Retry-After", "5")
			s.fail(w, problem{http.StatusServiceUnavailable, "too many requests at once: try again in a moment"})
			return
		}
		defer s.places.give(from)
		next(w, r)
	}
}
