package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/json"
	"fmt"

	"tramd/sweep"
)

// adopt gives what was saved a home where its own row is lost: readings and results keep a run, runs keep a setup. What
// still points at nothing goes.
func adopt(ctx context.Context, to *Store, out *Saved) error {
	err := to.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		setups, err := numbers(ctx, tx,
			"SELECT DISTINCT setup_id FROM run WHERE setup_id NOT IN (SELECT id FROM setup)")
		if err != nil {
			return err
		}
		if _, err := tx.ExecContext(
			ctx, "UPDATE event SET run_id = NULL WHERE run_id NOT IN (SELECT id FROM run)"); err != nil {
			return err
		}
		orphans, err := numbers(ctx, tx,
			"SELECT run_id FROM chunk UNION SELECT run_id FROM result EXCEPT SELECT id FROM run")
		if err != nil {
			return err
		}
		if len(orphans) > 0 {
			setups = append(setups, 1<<40) // one for all of them
		}
		for _, id := range setups {
			text, err := json.Marshal(
				sweep.Setup{Machine: "unknown", Surface: fmt.Sprintf("setup %d was lost with a damaged file", id)})
			if err != nil {
				return err
			}
			hash := sha256.Sum256(append(text, 0))
			if _, err := tx.ExecContext(ctx, "INSERT INTO setup (id, hash, json, tolerance) VALUES (?, ?, ?, '')", id,
				hash[:], string(text)); err != nil {
				return err
			}
		}
		for _, id := range orphans {
			if _, err := tx.ExecContext(
				ctx,
				`INSERT INTO run (id, kind, purpose, setup_id, started_us, boot_id, boot_us, clock_set, outcome, why, readings, untagged)
				SELECT ?1, 'sweep', '', ?2, 0, '', 0, 0, 'failed', 'what was known of this run was lost with a damaged file; its readings are what could be saved',
				coalesce(sum(readings), 0), coalesce(sum(untagged), 0) FROM chunk WHERE id BETWEEN ?1 << 20 AND (?1 << 20 | 1048575)`, id, int64(1<<40)); err != nil {
				return err
			}
		}
		if err := standIns(ctx, tx, out); err != nil {
			return err
		}
		// What is left of a run's readings is not what its row says.
		if _, err := tx.ExecContext(
			ctx,
			`UPDATE run SET missing = readings - had FROM (SELECT id AS of, (SELECT coalesce(sum(chunk.readings), 0)
			FROM chunk WHERE `+chunksOfRun+`) AS had FROM run WHERE outcome <> '' AND readings_gone = 0) WHERE id = of AND readings - had <> missing
			AND had <= readings`); err != nil {
			return err
		}
		// The counts are more than the runs where old runs were removed; less than them, rows of the counts are lost.
		_, err = tx.ExecContext(ctx,
			`INSERT INTO run_count (kind, outcome, runs) SELECT kind, outcome, count(*) FROM run WHERE outcome <> '' GROUP BY 1, 2
			ON CONFLICT (kind, outcome) DO UPDATE SET runs = max(runs, excluded.runs)`)
		return err
	})
	if err != nil {
		return to.fault("put in order what was saved", err)
	}
	return dropLoose(ctx, to, out)
}

// standIns puts a run in the place of each that is gone without a trace, for numbers are given out without a gap: what
// is lost is to be seen.
func standIns(ctx context.Context, tx *sql.Tx, out *Saved) error {
	gone, err := numbers(ctx, tx, `WITH RECURSIVE n (id) AS (SELECT 1 UNION ALL SELECT id + 1 FROM n WHERE id <
			(SELECT min(100000, max((SELECT coalesce(max(id), 0) FROM run), (SELECT coalesce(max(seq), 0) FROM sqlite_sequence WHERE name = 'run')))))
		SELECT id FROM n WHERE id NOT IN (SELECT id FROM run) AND EXISTS (SELECT 1 FROM sqlite_sequence WHERE name = 'run' AND seq >= n.id)`)
	if err != nil || len(gone) == 0 {
		return err
	}
	const none = int64(1 << 41)
	text, err := json.Marshal(sweep.Setup{Machine: "unknown", Surface: "lost with a damaged file"})
	if err != nil {
		return err
	}
	hash := setupHash(string(text), "")
	if _, err := tx.ExecContext(ctx, "INSERT OR IGNORE INTO setup (id, hash, json, tolerance) VALUES (?, ?, ?, '')",
		none, hash[:], string(text)); err != nil {
		return err
	}
	for _, id := range gone {
		out.Lost++
		if _, err := tx.ExecContext(
			ctx, `INSERT INTO run (id, kind, purpose, setup_id, started_us, boot_id, boot_us, clock_set, outcome, why)
			VALUES (?, 'sweep', '', (SELECT id FROM setup WHERE hash = ?), 0, '', 0, 0, 'failed', 'this run was lost with a damaged file')`, id, hash[:]); err != nil {
			return err
		}
	}
	return nil
}

// dropLoose drops what still points at a row that is not there.
func dropLoose(ctx context.Context, to *Store, out *Saved) error {
	tables, err := tableNames(ctx, to.w)
	if err != nil {
		return err
	}
	for _, table := range tables {
		err := to.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
			loose, err := numbers(ctx, tx,
				"SELECT DISTINCT rowid FROM pragma_foreign_key_check(?) WHERE rowid IS NOT NULL", table)
			if err != nil {
				return err
			}
			for _, row := range loose {
				if _, err := tx.ExecContext(ctx, fmt.Sprintf("DELETE FROM %s WHERE rowid = ?", quoted(table)),
					row); err != nil {
					return err
				}
				out.Rows[table]--
				out.Lost++
			}
			return nil
		})
		if err != nil {
			return to.fault("drop what points at nothing", err)
		}
	}
	return nil
}
