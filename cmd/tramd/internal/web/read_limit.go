package web

import (
	"context"
	"net/http"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/peerlimit"
)

// How many requests may read the record at once. Each holds its whole answer in memory until the client has taken it.
const (
	maxReads        = 8
	maxReadsPerPeer = 4 // so that a guest leaves room for the others
	readWait        = 10 * time.Second
)

// limitReads lets a request that reads the record through when there is room, and waits a little for it. Requests that
// change something, and the stream, do not count.
func (s *server) limitReads(next http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		peer := peerlimit.Peer(r.RemoteAddr)
		ctx, cancel := context.WithTimeout(r.Context(), readWait)
		in := s.reads.Wait(ctx, peer)
		cancel()
		if !in {
			w.Header().Set("Retry-After", "5")
			s.fail(w, api.Unavailable.New("too many requests at once: try again in a moment"))
			return
		}
		defer s.reads.Leave(peer)
		next(w, r)
	}
}
