package store

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"
)

const (
	rescueBatch = 500    // rows in one commit
	rescueTries = 200000 // failed reads of a table after which the rest of it is given up
)

// copyFrom copies what can be read, row by row, around what cannot. An error is one of the new file, or of the time.
func (out *Saved) copyFrom(ctx context.Context, path string, to *Store) error {
	from := openReaders(path, busyTimeout)
	defer from.Close()
	out.Rows = map[string]int{}
	there, err := tableNames(ctx, from)
	if err != nil {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		out.Lost++ // not even the list of tables can be read
	}
	wanted, err := tableNames(ctx, to.w)
	if err != nil {
		return err
	}
	// synced as a whole
	if _, err := to.w.ExecContext(ctx, "PRAGMA foreign_keys = OFF; PRAGMA synchronous = OFF"); err != nil {
		return err
	}
	for _, table := range wanted {
		// One of a later schema is not there yet, and the lines are made again with the results.
		if !slices.Contains(there, table) || table == "line" {
			continue
		}
		t := &rescue{ctx: ctx, from: from, to: to, table: table}
		if err := t.run(); err != nil {
			return fmt.Errorf("table %s: %w", table, err)
		}
		out.Rows[table] = t.rows
		out.Lost += t.lost
	}
	// A number that was once shown is not given out again, though its run may be lost.
	if seq, err := numbers(ctx, from, "SELECT seq FROM sqlite_sequence WHERE name = 'run'"); err == nil &&
		len(seq) == 1 && seq[0] > 0 && seq[0] < maxRun {
		if _, err := to.w.ExecContext(ctx, "UPDATE sqlite_sequence SET seq = max(seq, ?) WHERE name = 'run'",
			seq[0]); err != nil {
			return err
		}
	}
	return nil
}

// maxRun is more runs than any record has; a higher number is a spoiled one.
const maxRun = 1 << 30

// rescue is one table on its way.
type rescue struct {
	ctx        context.Context
	from       *sql.DB
	to         *Store
	table      string
	columns    []string
	read, save string
	sums       bool // the old file has a sum for each row, which is read last
	rows, lost int
	tries      int
	batch      [][]any
}

func (t *rescue) run() error {
	var keyed bool
	var err error
	if t.columns, keyed, err = common(t.ctx, t.from, t.to.w, t.table); err != nil {
		return err
	}
	if len(t.columns) == 0 {
		t.lost++
		return nil
	}
	names := strings.Join(t.columns, ", ")
	t.save = fmt.Sprintf("INSERT INTO %s (%s) VALUES (?%s)", quoted(t.table), names,
		strings.Repeat(", ?", len(t.columns)-1))
	with, err := t.soundness()
	if err != nil {
		return err
	}
	t.read = fmt.Sprintf("SELECT %s%s FROM %s", names, with, quoted(t.table))
	if !keyed { // a small table without row numbers: as far as it can be read
		_, err := t.stretch(t.read)
		if err == nil {
			return t.flush()
		}
		t.lost++
		return t.flushAfter(err)
	}
	if t.table == "chunk" {
		return t.chunks()
	}
	key := t.columns[0]
	t.read += fmt.Sprintf(" WHERE %[1]s BETWEEN ? AND ? ORDER BY %[1]s", key)
	last := t.last(key)
	if err := t.between(0, last); err != nil {
		return err
	}
	return t.flush()
}

// soundness is what to read beside the columns to know whether a row is as it was written, and keeps the sum itself
// from being copied: it is made again.
func (t *rescue) soundness() (string, error) {
	if !slices.Contains(summed, t.table) {
		return "", nil
	}
	columns, err := summedColumns(t.ctx, t.from, t.table)
	if err != nil {
		return "", err
	}
	var has int
	err = t.from.QueryRowContext(t.ctx, "SELECT count(*) FROM sqlite_schema WHERE type = 'trigger' AND name = ?",
		t.table+"_sum_new").Scan(&has)
	if err != nil || has == 0 { // of an older version
		return "", nil
	}
	t.sums = true
	return ", " + sound(quoted(t.table), columns), nil
}

// believe says whether a row is to be saved. A run that is not as it was written keeps its number and its readings, and
// says that nothing else of it is to be believed.
func (t *rescue) believe(row []any, sound bool) bool {
	if t.table == "chunk" {
		data, ok := row[len(row)-1].([]byte)
		return ok && chunkSound(data)
	}
	if t.table == "setup" {
		return believeSetup(t.columns, row)
	}
	if sound {
		return true
	}
	if t.table != "run" {
		return false
	}
	for i, name := range t.columns {
		switch name {
		case `"outcome"`:
			row[i] = string(Failed)
		case `"why"`:
			row[i] = spoiltRun
		case `"clock_set"`:
			row[i] = 0
		}
	}
	return true
}

// believeSetup is believe for a setup: one spoiled bit is turned back.
func believeSetup(columns []string, row []any) bool {
	at := func(name string) int { return slices.Index(columns, quoted(name)) }
	j, t, h := at("json"), at("tolerance"), at("hash")
	if j < 0 || t < 0 || h < 0 {
		return false
	}
	text, okText := row[j].(string)
	tolerance, okTolerance := row[t].(string)
	hash, okHash := row[h].([]byte)
	if !okText || !okTolerance || !okHash {
		return false
	}
	text, tolerance, sound := mendSetup(text, tolerance, hash)
	sum := setupHash(text, tolerance)
	row[j], row[t], row[h] = text, tolerance, sum[:]
	return sound
}

// spoiltRun is why a run failed whose row was spoiled.
const spoiltRun = "this run's row was damaged: what stands here besides its readings is not to be believed"

// last is the highest row number worth looking for. Where it cannot be read it is reckoned from the size of the file:
// no row is smaller than ten bytes.
func (t *rescue) last(key string) int64 {
	var n sql.NullInt64
	if t.from.QueryRowContext(t.ctx, fmt.Sprintf("SELECT max(%s) FROM %s", key, quoted(t.table))).Scan(&n) == nil {
		if n.Int64 < int64(1)<<40 {
			return n.Int64
		}
	}
	if t.from.QueryRowContext(t.ctx,
		"SELECT (SELECT * FROM pragma_page_count) * (SELECT * FROM pragma_page_size) / 10").Scan(&n) == nil {
		return n.Int64
	}
	return 1 << 24
}

// between copies the rows low to high. Where the reading breaks off, what lies beyond is tried in halves, so that a
// page that cannot be read costs its own rows and no others.
func (t *rescue) between(low, high int64) error {
	for low <= high {
		done, err := t.stretch(t.read, low, high)
		if err == nil {
			return nil
		}
		if bad, ok := err.(*newFileError); ok {
			return bad.error
		}
		if t.ctx.Err() != nil || t.tries >= rescueTries {
			t.lost++
			return t.ctx.Err()
		}
		t.tries++
		if done >= low {
			low = done + 1
		}
		if low >= high {
			if low == high {
				t.lost++
			}
			return nil
		}
		middle := low + (high-low)/2
		if err := t.between(low, middle); err != nil {
			return err
		}
		low = middle + 1
	}
	return nil
}

// chunks copies the readings. Their numbers lie far apart, one stretch a run; where the reading of them all breaks off,
// it goes on run by run, and within a run chunk by chunk, for those are numbered without a gap.
func (t *rescue) chunks() error {
	t.read += " WHERE id BETWEEN ? AND ? ORDER BY id"
	done, err := t.stretch(t.read, 0, int64(1)<<62)
	if err == nil {
		return t.flush()
	}
	if err := t.flushAfter(err); err != nil {
		return err
	}
	last, err := numbers(t.ctx, t.to.w, "SELECT coalesce(max(id), 0) FROM run")
	if err != nil {
		return err
	}
	if more, err := numbers(t.ctx, t.from, "SELECT seq FROM sqlite_sequence WHERE name = 'run'"); err == nil &&
		len(more) == 1 && more[0] < maxRun {
		last[0] = max(last[0], more[0])
	}
	next := max(done+1, 1<<20)
	for run := next >> 20; run <= last[0]; run++ {
		if err := t.chunksOf(run, max(next, run<<20)); err != nil {
			return err
		}
	}
	return t.flush()
}

// chunksOf copies what can be read of one run from the chunk of a number on.
func (t *rescue) chunksOf(run, next int64) error {
	const misses = 512 // chunks in a row that cannot be read, after which no more of the run is looked for
	missed := 0
	for missed < misses {
		done, err := t.stretch(t.read, next, run<<20|1048575)
		if bad, ok := err.(*newFileError); ok {
			return bad.error
		}
		if t.ctx.Err() != nil {
			return t.ctx.Err()
		}
		if err == nil {
			break
		}
		if done >= next {
			missed = 0
		}
		missed++
		next = max(next, done+1) + 1
	}
	if missed > 0 {
		t.lost++
	}
	return nil
}

// stretch copies rows until there are no more or one cannot be read, and gives the last row's number.
func (t *rescue) stretch(query string, args ...any) (int64, error) {
	rows, err := t.from.QueryContext(t.ctx, query, args...)
	if err != nil {
		return -1, err
	}
	defer rows.Close()
	last := int64(-1)
	for rows.Next() {
		row := make([]any, len(t.columns))
		into := make([]any, len(row), len(row)+1)
		for i := range row {
			into[i] = &row[i]
		}
		sound := true
		if t.sums {
			into = append(into, &sound)
		}
		if err := rows.Scan(into...); err != nil {
			return last, err
		}
		if n, ok := row[0].(int64); ok {
			last = n
		}
		if !t.believe(row, sound) {
			t.lost++
			continue
		}
		t.batch = append(t.batch, row)
		if len(t.batch) >= rescueBatch {
			if err := t.flush(); err != nil {
				return last, &newFileError{err}
			}
		}
	}
	return last, rows.Err()
}

// newFileError is a failure to write the new file, which no other stretch of the old one can cure.
type newFileError struct{ error }

func (t *rescue) flushAfter(err error) error {
	if bad, ok := err.(*newFileError); ok {
		return bad.error
	}
	return t.flush()
}

// flush writes the rows that are at hand. A row that the schema refuses is one that was read wrong.
func (t *rescue) flush() error {
	rows := t.batch
	t.batch = nil
	return t.to.write(t.ctx, func(ctx context.Context, tx *sql.Tx) error {
		stmt, err := tx.PrepareContext(ctx, t.save)
		if err != nil {
			return err
		}
		defer stmt.Close()
		for _, row := range rows {
			_, err := stmt.ExecContext(ctx, row...)
			switch {
			case err == nil:
				t.rows++
			case isConstraint(err):
				t.lost++
			default:
				return t.to.fault("save rows of "+t.table, err)
			}
		}
		return nil
	})
}

// common returns the columns that both files have of a table, its row number first, and whether it has one.
func common(ctx context.Context, from, to *sql.DB, table string) ([]string, bool, error) {
	want, key, err := columnsOf(ctx, to, table)
	if err != nil {
		return nil, false, err
	}
	have, _, err := columnsOf(ctx, from, table)
	if err != nil {
		return nil, false, ctx.Err() // nothing of that table can be read
	}
	want = slices.DeleteFunc(want, func(c string) bool { return c == `"sum"` || !slices.Contains(have, c) })
	if i := slices.Index(want, key); i > 0 {
		want[0], want[i] = want[i], want[0]
	}
	return want, key != "" && slices.Contains(want, key), nil
}

// columnsOf returns a table's columns, quoted, and which of them is its row number ("" if none).
func columnsOf(ctx context.Context, db rowsQuerier, table string) (names []string, key string, err error) {
	rows, err := db.QueryContext(ctx,
		`SELECT name, pk = 1 AND type = 'INTEGER' AND (SELECT wr = 0 FROM pragma_table_list WHERE name = ?1)
		AND (SELECT count(*) FROM pragma_table_info(?1) WHERE pk > 0) = 1 FROM pragma_table_info(?1)`, table)
	if err != nil {
		return nil, "", err
	}
	defer rows.Close()
	for rows.Next() {
		var name string
		var number bool
		if err := rows.Scan(&name, &number); err != nil {
			return nil, "", err
		}
		names = append(names, quoted(name))
		if number {
			key = quoted(name)
		}
	}
	return names, key, rows.Err()
}

func numbers(ctx context.Context, q rowsQuerier, query string, args ...any) ([]int64, error) {
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []int64
	for rows.Next() {
		var n int64
		if err := rows.Scan(&n); err != nil {
			return nil, err
		}
		out = append(out, n)
	}
	return out, rows.Err()
}
