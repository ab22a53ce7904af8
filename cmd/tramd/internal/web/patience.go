package web

import (
	"net/http"
	"time"
)

// answerPatience is how long a client may keep one piece of an answer waiting.
const answerPatience = 30 * time.Second

// impatient ends an answer that its client does not take. A limit for the whole would end a download that is well.
type impatient struct {
	http.ResponseWriter
	ctl      *http.ResponseController
	patience time.Duration
}

func (w impatient) Write(p []byte) (int, error) {
	_ = w.ctl.SetWriteDeadline(time.Now().Add(w.patience)) // not every connection has deadlines
	return w.ResponseWriter.Write(p)
}

// Unwrap lets a http.ResponseController find what is beneath.
func (w impatient) Unwrap() http.ResponseWriter { return w.ResponseWriter }

func (s *server) limitAnswer(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		ctl := http.NewResponseController(w)
		_ = ctl.SetWriteDeadline(time.Time{}) // of the answer before it on this connection
		if r.URL.Path != "/api/v1/live" {     // each event has its own
			w = impatient{w, ctl, s.answerPatience}
		}
		next.ServeHTTP(w, r)
	})
}
