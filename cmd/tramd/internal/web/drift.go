package web

import (
	"net/http"
	"tramd/cmd/tramd/internal/api"
)

var noDrift = api.Unavailable.New("the history is not worked out here: the daemon was started without it")

func (s *server) drift(r *http.Request) (any, error) {
	if s.Drift == nil {
		return nil, noDrift
	}
	return s.Drift.Drift(r.Context())
}
