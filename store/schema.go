package store

import (
	"context"
	"database/sql"
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/mattn/go-sqlite3"
)

// object is a table, index, trigger or view as the list of them has it.
type object struct{ kind, text string }

// schemaOf reads what a file has, by name, without what SQLite keeps for itself.
func schemaOf(ctx context.Context, db *sql.DB) (map[string]object, error) {
	rows, err := db.QueryContext(ctx,
		`SELECT name, type, coalesce(sql, '') FROM sqlite_schema WHERE name NOT LIKE 'sqlite\_%' ESCAPE '\'`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	out := map[string]object{}
	for rows.Next() {
		var name string
		var o object
		if err := rows.Scan(&name, &o.kind, &o.text); err != nil {
			return nil, err
		}
		o.text = strings.Join(strings.Fields(o.text), " ")
		out[name] = o
	}
	return out, rows.Err()
}

// madeBy returns the schema that the first migrations make.
func madeBy(ctx context.Context, steps []string) (map[string]object, error) {
	db := sql.OpenDB(&connector{dsn: ":memory:", driver: &sqlite3.SQLiteDriver{ConnectHook: RowSum}})
	db.SetMaxOpenConns(1) // each would have a database of its own
	defer db.Close()
	s := &Store{w: db}
	for _, step := range steps {
		if _, err := db.ExecContext(ctx, step); err != nil {
			return nil, err
		}
	}
	if err := s.keepSums(ctx); err != nil {
		return nil, err
	}
	return schemaOf(ctx, db)
}

// strange says how a schema differs from the one the migrations make; empty: it does not. A view of a name of its own
// changes nothing that is stored, and is let be.
func strange(have, want map[string]object) string {
	for _, name := range slices.Sorted(maps.Keys(want)) {
		switch there, ok := have[name]; {
		case !ok:
			return fmt.Sprintf("%s %s is missing", want[name].kind, name)
		case there != want[name]:
			return fmt.Sprintf("%s %s is not the %s that this program makes", there.kind, name, want[name].kind)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(have)) {
		if _, ok := want[name]; !ok && have[name].kind != "view" {
			return fmt.Sprintf("%s %s is none that this program makes", have[name].kind, name)
		}
	}
	return ""
}

// judgeSchema compares a file's schema with that of its version.
func judgeSchema(ctx context.Context, db *sql.DB, steps []string, version int) (string, error) {
	have, err := schemaOf(ctx, db)
	if err != nil {
		return "", err
	}
	want, err := madeBy(ctx, steps[:version])
	if err != nil {
		return "", err
	}
	return strange(have, want), nil
}

// judge refuses a record of which a table, an index or a trigger is missing or is not what the migrations make: a bit
// of it was spoiled. What a person added stays.
func (s *Store) judge(ctx context.Context, steps []string) error {
	have, err := schemaOf(ctx, s.w)
	if err != nil {
		return s.fault("look at the schema", err)
	}
	want, err := madeBy(ctx, steps)
	if err != nil {
		return err
	}
	for name := range have {
		if _, ok := want[name]; !ok {
			delete(have, name)
		}
	}
	if odd := strange(have, want); odd != "" {
		return s.watched(fmt.Errorf("store %s: %w: %s", s.path, ErrDamaged, odd))
	}
	return nil
}
