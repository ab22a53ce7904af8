package web

import (
	"net/http"
	"time"
)

// answerTimeout is how long a client may keep one piece of an answer waiting.
const answerTimeout = 30 * time.Second

// deadlineWriter ends an answer that its client does not take. A limit for the whole would end a download that is well.
type deadlineWriter struct {
	http.ResponseWriter
	ctl     *http.ResponseController
	timeout time.Duration
}

func (w deadlineWriter) Write(p []byte) (int, error) {
	_ = w.ctl.SetWriteDeadline(time.Now().Add(w.timeout)) // not every connection has deadlines
	return w.ResponseWriter.Write(p)
}

// Unwrap lets a http.ResponseController find what is beneath.
func (w deadlineWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }

func (s *server) limitAnswer(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		ctl := http.NewResponseController(w)
		_ = ctl.SetWriteDeadline(time.Time{}) // of the answer before it on this connection
		if r.URL.Path != "/api/v1/live" {     // each event has its own
			w = deadlineWriter{w, ctl, s.answerTimeout}
		}
		next.ServeHTTP(w, r)
	})
}
