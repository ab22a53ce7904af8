package store

import (
	"context"
	"encoding/json"
	"fmt"
)

// Line is a run as a list shows it. Its JSON is that of a Run, but the result is without what only a closer look needs:
// the budgets, the stretches left out, form and turns. It stays the text that was stored; taking it apart and putting
// it together again for each run of a page would take longer than all the rest.
type Line struct {
	Run                    // without its Result
	Result json.RawMessage `json:"result"` // nil when there is none
}

// selectLine reads runs with the short form of their newest result, which a trigger keeps.
func (s *Store) selectLine() string {
	return "SELECT " + runColumns + ", line.json, NULL, NULL, NULL, " + s.sound["run"] + ", " + s.sound["line"] + `
	FROM run LEFT JOIN line ON line.run_id = run.id `
}

// List returns the runs that Runs gives, as lines.
func (s *Store) List(ctx context.Context, before int64, limit int) ([]Line, error) {
	return s.Lines(ctx, Which{Before: before, Limit: limit})
}

// Lines returns the runs that Find gives, as lines.
func (s *Store) Lines(ctx context.Context, w Which) ([]Line, error) {
	rows, err := s.page(ctx, s.selectLine(), w)
	if err != nil {
		return nil, s.fault("list runs", err)
	}
	out := make([]Line, len(rows))
	for i, row := range rows {
		out[i].Run = s.withSetup(ctx, row)
		out[i].Result = row.text
		if row.text != nil && !row.resultSound {
			out[i].Result = nil
			if text := s.spoiled(fmt.Sprintf("the result of run %d", row.run.ID), row.run.ID); out[i].Damage == "" {
				out[i].Damage = text
			}
		}
	}
	return out, nil
}
