// Package storetest makes records for tests and benchmarks: as large as they become after years, in seconds.
package storetest

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"github.com/mattn/go-sqlite3"

	"tramd/store"
)

// driver is SQLite with what the record's triggers call.
const driver = "record"

func init() { sql.Register(driver, &sqlite3.SQLiteDriver{ConnectHook: store.RowSum}) }

// Multiply makes of the one finished run of a closed record n runs, hour after hour up to the present one, each with
// the same result and the same readings. It goes past the store, which would take an hour for what SQLite copies in
// seconds.
func Multiply(ctx context.Context, path string, n int) (err error) {
	db, err := sql.Open(driver, "file:"+path+"?_busy_timeout=5000&_journal_mode=WAL&_synchronous=OFF")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	db.SetMaxOpenConns(1)
	var first, runs int64
	if err := db.QueryRowContext(ctx, "SELECT min(id), count(*) FROM run WHERE outcome = 'finished'").Scan(
		&first, &runs); err != nil || runs != 1 {
		return fmt.Errorf("%s holds %d finished runs, want one to multiply: %w", path, runs, err)
	}
	// Each table's columns are asked for, so that a later schema is copied whole.
	copied := func(table, numbers string, own map[string]string) (string, error) {
		rows, err := db.QueryContext(ctx, "SELECT name FROM pragma_table_info(?)", table)
		if err != nil {
			return "", err
		}
		defer rows.Close()
		into, from := "", ""
		for rows.Next() {
			var name string
			if err := rows.Scan(&name); err != nil {
				return "", err
			}
			value, ok := own[name]
			if !ok {
				value = table + "." + name
			}
			if value == "" {
				continue
			}
			into, from = into+", "+name, from+", "+value
		}
		return fmt.Sprintf("INSERT INTO %s (%s) SELECT %s FROM %s, %s", table, into[2:], from[2:], numbers, table),
			rows.Err()
	}
	numbers := fmt.Sprintf(
		"(WITH RECURSIVE n (i) AS (SELECT %d UNION ALL SELECT i + 1 FROM n WHERE i < %d) SELECT i FROM n)", first+1,
		first+int64(n)-1)
	hours := fmt.Sprintf("(i - %d) * 3600000000", first+int64(n)-1)
	for _, t := range []struct {
		table string
		own   map[string]string
	}{
		{"run", map[string]string{"id": "i", "started_us": "run.started_us + " + hours,
			"ended_us": "run.ended_us + " + hours}},
		{"result", map[string]string{"id": "", "run_id": "i"}},
		{"chunk", map[string]string{"id": "i << 20 | chunk.seq", "run_id": "i"}},
	} {
		text, err := copied(t.table, numbers, t.own)
		if err != nil {
			return err
		}
		where := map[string]string{"run": "run.id", "result": "result.run_id", "chunk": "chunk.run_id"}[t.table]
		if _, err := db.ExecContext(ctx, text+fmt.Sprintf(" WHERE %s = %d", where, first)); err != nil {
			return fmt.Errorf("table %s: %w", t.table, err)
		}
	}
	_,
		err = db.ExecContext(
		ctx, "UPDATE run_count SET runs = ? WHERE outcome = 'finished'; PRAGMA wal_checkpoint(TRUNCATE)", n)
	return err
}
