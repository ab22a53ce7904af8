package daemon

import (
	"context"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/assembly"
	"tramd/cmd/tramd/internal/web"
)

// measure begins an attended measurement that is no sweep.
func (d *Daemon) measure(ctx context.Context, w web.MeasurementWanted) (run int64, err error) {
	m, err := assembly.Plan(d.cfg, assembly.Wanted{Kind: w.Kind, Name: w.Name, Typed: w.Typed})
	if err != nil {
		return 0, api.Invalid.Of(err)
	}
	return d.session.StartMeasurement(ctx, m, w.Purpose)
}
