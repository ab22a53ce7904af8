package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"time"
)

// CutShort reports whether the last program that had the file open did not close it: it was killed, or the power went.
func (s *Store) CutShort() bool { return s.cutShort }

// Check looks through the whole file, table by table, while others work on it: SQLite at its pages and indexes, and we
// at the checksums of all rows. On a slow card that takes a minute or more for each gigabyte. ErrDamaged says that the
// file is damaged; ctx bounds the time. Of a result that is spoiled, and nothing else, it says no more than
// Options.Damaged.
func (s *Store) Check(ctx context.Context) error {
	tables, err := tableNames(ctx, s.r)
	if err != nil {
		return s.fault("check", err)
	}
	// one at a time, so that no reader keeps the write-ahead log from being emptied for long
	for _, table := range tables {
		if err := s.watched(pagesCheck(ctx, s.r, s.path, table)); err != nil {
			return err
		}
	}
	return s.checkRows(ctx)
}

// checkRows compares every row with its checksum. Of results it reports those that are spoiled, for they are fitted
// again; of all else it gives the first.
func (s *Store) checkRows(ctx context.Context) error {
	doing := "check " + s.path
	var bad error
	note := func(what string, id int64) {
		if err := s.watched(fmt.Errorf("%s: %w: %s %d is not as it was written", doing, ErrDamaged, what,
			id)); bad == nil {
			bad = err
		}
	}
	for _, table := range summed {
		query, result := "SELECT rowid FROM "+table+" WHERE NOT "+s.sound[table], false
		if table == "result" || table == "line" {
			query, result = "SELECT DISTINCT run_id FROM "+table+" WHERE NOT "+s.sound[table], true
		}
		ids, err := numbers(ctx, s.r, query)
		if err != nil {
			return s.fault(doing, err)
		}
		for _, id := range ids {
			if result {
				_ = s.spoiled(fmt.Sprintf("the result of run %d", id), id)
			} else {
				note(table, id)
			}
		}
	}
	setups, err := numbers(ctx, s.r, "SELECT id FROM setup")
	if err != nil {
		return s.fault(doing, err)
	}
	for _, id := range setups {
		if _, _, err := s.setup(ctx, s.r, id); err != nil {
			note("setup", id)
		}
	}
	// Chunk by chunk, each in a query of its own, for the same reason.
	for next := int64(0); ctx.Err() == nil; next++ {
		var of, seq int64
		var n int
		var data []byte
		err := s.r.QueryRowContext(ctx,
			"SELECT id, run_id, seq, readings, data FROM chunk WHERE id >= ? ORDER BY id LIMIT 1", next).Scan(
			&next, &of, &seq, &n, &data)
		if errors.Is(err, sql.ErrNoRows) {
			break
		}
		if err != nil {
			return s.fault(doing, err)
		}
		if of<<20|seq != next || !chunkSound(data) {
			note("chunk of readings", next)
		}
	}
	if ctx.Err() != nil {
		return fmt.Errorf("%s: %w", doing, ctx.Err())
	}
	short,
		err := numbers(ctx, s.r, `SELECT id FROM run WHERE outcome <> '' AND readings_gone = 0 AND readings - missing >
		(SELECT coalesce(sum(chunk.readings), 0) FROM chunk WHERE `+chunksOfRun+`)`)
	if err != nil {
		return s.fault(doing, err)
	}
	for _, id := range short {
		note("the readings of run", id)
	}
	return bad
}

// pagesCheck has SQLite check one table with its indexes, or all of a file where none is named.
func pagesCheck(ctx context.Context, db *sql.DB, path, table string) error {
	arg := "1"
	if table != "" {
		arg = quoted(table)
	}
	var verdict string
	if err := db.QueryRowContext(ctx, "PRAGMA integrity_check("+arg+")").Scan(&verdict); err != nil {
		if ctx.Err() != nil {
			return fmt.Errorf("check %s: %w", path, ctx.Err())
		}
		return fault(path, "check", err)
	}
	if verdict != "ok" {
		return fmt.Errorf("check %s: %w: %s", path, ErrDamaged, strings.ReplaceAll(verdict, "\n", "; "))
	}
	return nil
}

// checkFile has SQLite check a file that no program writes.
func checkFile(ctx context.Context, path string) error {
	db := openReaders(path, busyTimeout)
	defer db.Close()
	return pagesCheck(ctx, db, path, "")
}

func tableNames(ctx context.Context, db *sql.DB) ([]string, error) {
	rows, err := db.QueryContext(ctx,
		"SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite\\_%' ESCAPE '\\' ORDER BY rowid")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []string
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			return nil, err
		}
		out = append(out, name)
	}
	return out, rows.Err()
}

// quoted is a name as SQL writes it.
func quoted(name string) string { return `"` + strings.ReplaceAll(name, `"`, `""`) + `"` }

// markName is the file that says, from one start to the next, that a database was found damaged.
func markName(path string) string { return path + ".damaged" }

// MarkDamaged notes beside the file that it was found damaged, and why. Open then refuses it with ErrDamaged until
// Salvage has been there.
func MarkDamaged(path string, why error) error {
	name := markName(path)
	text := fmt.Sprintf("%s\n%v\n", time.Now().UTC().Format(asideStamp), why)
	if err := os.WriteFile(name, []byte(text), 0o640); err != nil {
		return fmt.Errorf("note that %s is damaged: %w", path, err)
	}
	return errors.Join(syncFile(name), syncDir(name))
}

// damageNoted returns the first line of the note, which names the copy that is set aside, and the rest, which says why.
func damageNoted(path string) (stamp, why string, found bool) {
	text, err := os.ReadFile(markName(path))
	if errors.Is(err, fs.ErrNotExist) {
		return "", "", false
	}
	stamp, why, _ = strings.Cut(string(text), "\n")
	if _, err := time.Parse(asideStamp, stamp); err != nil { // cut short by a power cut
		stamp = time.Now().UTC().Format(asideStamp)
	}
	return stamp, strings.TrimSpace(why), true
}
