package runs

import (
	"context"
	"encoding/json"

	"tramd/cmd/tramd/internal/api"
	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/mixed"
)

// Separated holds spindle and loose plate apart. The plate's slope is positive where it rises to + on the axis.
type Separated struct {
	Spindle Axes `json:"spindle"`
	Plate   Axes `json:"plate"`
}

// Axes are two axes as a result writes them.
type Axes struct{ Tilt, Nod *sweep.Axis }

// MarshalJSON writes the axes in the units of a result.
func (a Axes) MarshalJSON() ([]byte, error) {
	text, err := json.Marshal(sweep.Result{Tilt: a.Tilt, Nod: a.Nod})
	if err != nil {
		return nil, err
	}
	var out struct {
		Tilt json.RawMessage `json:"tilt"`
		Nod  json.RawMessage `json:"nod"`
	}
	if err := json.Unmarshal(text, &out); err != nil {
		return nil, err
	}
	return json.Marshal(out)
}

// Separate tells the spindle from a loose plate by two stored sweeps: one on the plate as it lay, and one after it was
// turned by 180 degrees.
func Separate(ctx context.Context, s *store.Store, first, turned int64) (Separated, error) {
	var results [2]sweep.Result
	var setup sweep.Setup
	for i, id := range []int64{first, turned} {
		r, err := s.Run(ctx, id)
		if err != nil {
			return Separated{}, err
		}
		if r.Result == nil {
			return Separated{}, api.Conflict.Errorf("run %d has no result", id)
		}
		if i == 1 && r.Setup.Machine != setup.Machine {
			return Separated{}, api.Conflict.Errorf("run %d is of %s and run %d of %s; take both on one machine", first, setup.Machine, id, r.Setup.Machine)
		}
		results[i], setup = *r.Result, r.Setup
	}
	sep, err := mixed.Reverse(results[0], results[1], setup.Tolerance)
	if err != nil {
		return Separated{}, api.Conflict.Errorf("runs %d and %d: %v", first, turned, err)
	}
	return Separated{Axes{sep.SpindleTilt, sep.SpindleNod}, Axes{sep.PlateTilt, sep.PlateNod}}, nil
}
