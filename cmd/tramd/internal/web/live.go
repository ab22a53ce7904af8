package web

import (
	"net/http"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/peerlimit"
)

const (
	writeTimeout   = 5 * time.Second // for one event; a client that takes longer is gone or hopeless
	keepaliveEvery = 10 * time.Second
)

// live streams server-sent events: `state` and `curve`, each always the newest, and a comment now and then so that a
// quiet stream does not look like a dead one.
func (s *server) live(w http.ResponseWriter, r *http.Request) {
	c := s.hub.join(peerlimit.Peer(r.RemoteAddr))
	if c == nil {
		w.Header().Set("Retry-After", "5")
		s.fail(w, api.Unavailable.New("too many pages are open: close one and try again"))
		return
	}
	defer s.hub.leave(c)

	h := w.Header()
	h.Set("Content-Type", "text/event-stream")
	h.Set("Cache-Control", "no-store")
	h.Set("X-Accel-Buffering", "no") // asks a proxy between not to hoard
	st := stream{w: w, ctl: http.NewResponseController(w), timeout: s.timeout}
	if !st.send([]byte("retry: 1500\n\n")) {
		return
	}
	quiet := time.NewTicker(keepaliveEvery)
	defer quiet.Stop()
	var curveNo uint64
	for {
		select {
		case <-r.Context().Done():
			return
		case <-s.Done:
			return
		case <-quiet.C:
			if !st.send([]byte(": still here\n\n")) {
				return
			}
		case <-c.news:
			f := s.hub.newest()
			if f == nil {
				continue
			}
			if f.curveNo != curveNo {
				if !st.send(f.curve) {
					return
				}
				curveNo = f.curveNo
			}
			if !st.send(f.state) {
				return
			}
		}
	}
}

// stream writes pieces that go out at once, each with its own deadline: the server's own would end a stream that is
// well.
type stream struct {
	w   http.ResponseWriter
	ctl *http.ResponseController

	timeout time.Duration
}

// send reports whether the client took the piece.
func (s stream) send(piece []byte) bool {
	_ = s.ctl.SetWriteDeadline(time.Now().Add(s.timeout)) // not every connection has deadlines
	if _, err := s.w.Write(piece); err != nil {
		return false
	}
	if s.ctl.Flush() != nil {
		return false
	}
	_ = s.ctl.SetWriteDeadline(time.Time{}) // a stream may be quiet
	return true
}
