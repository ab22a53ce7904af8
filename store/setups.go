package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/json"
	"fmt"
	"slices"

	"tramd/sweep"
	"tramd/sweep/units"
)

// setupCache bounds how many setups are kept decoded; a shop has a handful.
const setupCache = 256

// putSetup gives the row of a setup, adding it if none is the same.
func putSetup(ctx context.Context, tx *sql.Tx, setup sweep.Setup) (int64, error) {
	text, err := json.Marshal(setup)
	if err != nil {
		return 0, fmt.Errorf("setup: %w", err)
	}
	tol := setup.Tolerance
	if parsed, err := units.ParseTolerance(tol.Text); err != nil {
		return 0, fmt.Errorf("setup: %w", err)
	} else if parsed.Limit != tol.Limit {
		return 0, fmt.Errorf("setup: tolerance %q is %v mm/m, not %v mm/m: only its text is stored, so make it with units.ParseTolerance",
			tol.Text, parsed.Limit.MMPerM(), tol.Limit.MMPerM())
	}
	hash := sha256.Sum256(slices.Concat(text, []byte{0}, []byte(tol.Text)))
	if _, err := tx.ExecContext(ctx, "INSERT INTO setup (hash, json, tolerance) VALUES (?, ?, ?) ON CONFLICT (hash) DO NOTHING",
		hash[:], string(text), tol.Text); err != nil {
		return 0, err
	}
	var id int64
	err = tx.QueryRowContext(ctx, "SELECT id FROM setup WHERE hash = ?", hash[:]).Scan(&id)
	return id, err
}

// querier is a connection, a transaction or a pool.
type querier interface {
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

func (s *Store) setup(ctx context.Context, q querier, id int64) (sweep.Setup, error) {
	s.mu.Lock()
	setup, ok := s.setups[id]
	s.mu.Unlock()
	if !ok {
		var text, tolerance string
		if err := q.QueryRowContext(ctx, "SELECT json, tolerance FROM setup WHERE id = ?", id).Scan(&text, &tolerance); err != nil {
			return sweep.Setup{}, err
		}
		if err := json.Unmarshal([]byte(text), &setup); err != nil {
			return sweep.Setup{}, fmt.Errorf("setup %d: %w: %w", id, ErrDamaged, err)
		}
		tol, err := units.ParseTolerance(tolerance)
		if err != nil { // a form that is no longer understood must not hide the readings
			s.log.Warn("a stored tolerance cannot be read; the run is shown without a limit", "setup", id, "err", err)
			tol = units.Tolerance{Text: tolerance}
		}
		setup.Tolerance = tol
		s.mu.Lock()
		if len(s.setups) >= setupCache {
			clear(s.setups)
		}
		s.setups[id] = setup
		s.mu.Unlock()
	}
	setup.Indicators = slices.Clone(setup.Indicators) // the caller may change its own
	setup.StationsDeg = slices.Clone(setup.StationsDeg)
	return setup, nil
}
