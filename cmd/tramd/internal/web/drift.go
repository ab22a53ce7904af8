package web

import (
	"net/http"
	"tramd/cmd/tramd/internal/api"
)

var noDrift = api.Unavailable.New("the history is not worked out here: the daemon was started without it")

func (s *server) drift(w http.ResponseWriter, r *http.Request) {
	if s.Drift == nil {
		s.fail(w, noDrift)
		return
	}
	v, err := s.Drift.Drift(r.Context())
	if err != nil {
		s.fail(w, err)
		return
	}
	s.reply(w, http.StatusOK, v)
}
