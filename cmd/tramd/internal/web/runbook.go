package web

import "net/http"

// runbook says what to do about each alarm; alarms link to it.
func (s *server) runbook(w http.ResponseWriter, r *http.Request) {
	r.SetPathValue("name", "runbook.html")
	s.asset(w, r)
}
