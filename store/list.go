package store

import (
	"context"
	"encoding/json"
	"fmt"
)

// Line is a run as a list shows it. Its JSON is that of a Run, but the result is without what only a closer look needs: the
// budgets, the stretches left out, form and turns. It stays the text that was stored; taking it apart and putting it
// together again for each run of a page would take longer than all the rest.
type Line struct {
	Run                    // without its Result
	Result json.RawMessage `json:"result"` // nil when there is none
}

// selectLine reads runs with the short form of their newest result, which a trigger keeps.
const selectLine = `SELECT run.id, kind, purpose, setup_id, started_us, ended_us, boot_id, boot_us, clock_set, outcome, why, note,` +
	runCounts + `
	line.json, NULL, NULL, NULL, temperature_c, spindle_hours
	FROM run LEFT JOIN line ON line.run_id = run.id `

// List gives the runs that Runs gives, as lines.
func (s *Store) List(ctx context.Context, before int64, limit int) ([]Line, error) {
	query, args := page(selectLine, before, limit)
	rows, err := s.runRows(ctx, query, args...)
	if err != nil {
		return nil, s.fault("list runs", err)
	}
	out := make([]Line, len(rows))
	for i, row := range rows {
		if out[i].Run, err = s.withSetup(ctx, row); err != nil {
			return nil, s.fault("list runs", fmt.Errorf("run %d: %w", row.run.ID, err))
		}
		out[i].Result = row.text
	}
	return out, nil
}
