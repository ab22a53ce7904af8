package store

import (
	"context"
	"database/sql"
	"time"
)

// retainBatch is how many runs lose their readings in one commit: small enough that a run that is being taken does not
// wait for it.
const retainBatch = 20

// DropReadings lets go of the readings of runs that began before a moment, a batch of them; what was concluded from
// them stays for ever. It gives the runs' numbers: call it until there are none. Kept are the readings of
//   - runs that carry a person's note,
//   - runs whose time cannot be believed,
//   - the first finished run of each setup, and the first after each event: what all later ones are compared with,
//   - the last finished run of each kind, and what came after it.
//
// The room is used again by later runs; the file does not shrink.
func (s *Store) DropReadings(ctx context.Context, before time.Time) ([]int64, error) {
	const doing = "let old readings go"
	if s.w == nil {
		return nil, s.readOnly(doing)
	}
	var ids []int64
	err := s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		var err error
		// NOT EXISTS and not NOT IN: an event with no finished run after it gives NULL, which no number is ever known
		// not to be.
		ids, err = numbers(ctx, tx, `WITH compared AS MATERIALIZED (
				SELECT min(id) AS id FROM run WHERE outcome = 'finished' GROUP BY setup_id
				UNION SELECT (SELECT min(run.id) FROM run WHERE outcome = 'finished' AND clock_set = 1 AND started_us >= event.at_us)
					FROM event WHERE event.at_us < ?1 AND undone_us IS NULL AND kind NOT IN ('note', 'hours'))
			SELECT id FROM run WHERE readings_gone = 0 AND readings > 0 AND outcome <> '' AND clock_set = 1
			AND started_us < ?1 AND note = ''
			AND NOT EXISTS (SELECT 1 FROM compared WHERE compared.id = run.id)
			AND EXISTS (SELECT 1 FROM run AS later WHERE later.id > run.id AND later.kind = run.kind AND later.outcome = 'finished')
			ORDER BY id LIMIT ?2`, micros(before), retainBatch)
		if err != nil {
			return err
		}
		for _, id := range ids {
			if _, err := tx.ExecContext(ctx, "DELETE FROM chunk WHERE id BETWEEN ?1 << 20 AND (?1 << 20 | 1048575)",
				id); err != nil {
				return err
			}
			if _, err := tx.ExecContext(ctx, "UPDATE run SET readings_gone = 1 WHERE id = ?", id); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return nil, s.fault(doing, err)
	}
	return ids, nil
}
