package web

import "net/http"

var noAdvice = problem{http.StatusServiceUnavailable, "there is no advice to be had: the daemon was started without its record"}

// advice says what to move next.
func (s *server) advice(w http.ResponseWriter, r *http.Request) {
	if s.Advice == nil {
		s.fail(w, noAdvice)
		return
	}
	a, err := s.Advice(r.Context())
	if err != nil {
		s.fail(w, err)
		return
	}
	s.reply(w, http.StatusOK, a)
}
