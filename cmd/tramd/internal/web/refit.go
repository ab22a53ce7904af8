package web

import (
	"context"
	"net/http"

	"tramd/cmd/tramd/internal/api"
)

// Refits fits stored runs again.
type Refits interface {
	Refit(ctx context.Context, run int64, keep bool) (api.Refitted, error)
}

// refit fits a run with today's model; the body says whether the result is kept beside the old ones.
func (s *server) refit(r *http.Request) (any, error) {
	id, err := pathID(r)
	var in struct {
		Keep bool `json:"keep"`
	}
	if err == nil {
		err = decode(r, &in)
	}
	if err == nil && s.Refits == nil {
		err = noRecords
	}
	if err != nil {
		return nil, err
	}
	return s.Refits.Refit(r.Context(), id, in.Keep)
}
