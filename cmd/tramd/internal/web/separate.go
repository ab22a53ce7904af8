package web

import (
	"math"
	"net/http"

	"tramd/cmd/tramd/internal/api"
)

// separate tells the spindle from a loose plate: ?turned= is the sweep after the plate was turned by 180 degrees.
func (s *server) separate(r *http.Request) (any, error) {
	first, err := s.recordID(r)
	var turned int64
	if err == nil {
		turned, err = queryInt(r, "turned", 1, math.MaxInt64, 0)
	}
	switch {
	case err != nil:
	case turned == 0:
		err = api.Invalid.New("turned: write the number of the sweep after the plate was turned by 180 degrees")
	case s.Separate == nil:
		err = noRecords
	}
	if err != nil {
		return nil, err
	}
	return s.Separate(r.Context(), first, turned)
}
