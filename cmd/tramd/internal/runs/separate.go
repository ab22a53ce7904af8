package runs

import (
	"context"

	"tramd/cmd/tramd/internal/api"
	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/mixed"
)

// Separate tells the spindle from a loose plate by two stored sweeps: one on the plate as it lay, and one after it was
// turned by 180 degrees.
func Separate(ctx context.Context, s *store.Store, first, turned int64) (api.Separated, error) {
	var results [2]sweep.Result
	var setup sweep.Setup
	for i, id := range []int64{first, turned} {
		r, err := s.Run(ctx, id)
		if err != nil {
			return api.Separated{}, err
		}
		if r.Result == nil {
			return api.Separated{}, api.Conflict.Errorf("run %d has no result", id)
		}
		if i == 1 && r.Setup.Machine != setup.Machine {
			return api.Separated{}, api.Conflict.Errorf("run %d is of %s and run %d of %s; take both on one machine",
				first, setup.Machine, id, r.Setup.Machine)
		}
		results[i], setup = *r.Result, r.Setup
	}
	sep, err := mixed.Reverse(results[0], results[1], setup.Tolerance)
	if err != nil {
		return api.Separated{}, api.Conflict.Errorf("runs %d and %d: %v", first, turned, err)
	}
	return api.Separated{
		Spindle: api.Axes{Tilt: sep.SpindleTilt, Nod: sep.SpindleNod},
		Plate:   api.Axes{Tilt: sep.PlateTilt, Nod: sep.PlateNod},
	}, nil
}
