package store

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"time"
)

// applicationID marks a file as ours: "trmd" as four ASCII bytes, where SQLite's header has room for it.
const applicationID = 0x74726d64

//go:embed migrations/*.sql
var migrationFiles embed.FS

// steps are the migrations in order; a schema's version is how many of them it has had.
func steps(files fs.FS) ([]string, error) {
	names, err := fs.Glob(files, "migrations/*.sql") // sorted by name
	if err != nil {
		return nil, err
	}
	out := make([]string, len(names))
	for i, name := range names {
		text, err := fs.ReadFile(files, name)
		if err != nil {
			return nil, err
		}
		out[i] = string(text)
	}
	return out, nil
}

// schemaVersion says how many migrations a file has had. It refuses what another program made and what is too new.
func schemaVersion(ctx context.Context, db *sql.DB, path string, known int) (int, error) {
	var app, version, tables int
	err := db.QueryRowContext(ctx, `SELECT (SELECT application_id FROM pragma_application_id),
		(SELECT user_version FROM pragma_user_version), (SELECT count(*) FROM sqlite_schema)`).Scan(&app, &version, &tables)
	switch {
	case err != nil:
		return 0, fault(path, "open", err)
	case app == applicationID:
	case app == 0 && version == 0 && tables == 0:
		return 0, nil
	case looksOurs(ctx, db):
		return 0, fmt.Errorf("store %s: %w: its header is spoiled (whose file it is)", path, ErrDamaged)
	default:
		return 0, fmt.Errorf("store %s: %w: %w; give another path, or move that file away", path,
			ErrNotDatabase, errOthers)
	}
	if version < 1 || version > known && looksOurs(ctx, db) {
		return 0, fmt.Errorf("store %s: %w: its header is spoiled (version %d of the schema)", path,
			ErrDamaged, version)
	}
	if version > known {
		return 0,
			fmt.Errorf(
				"store %s: %w (schema %d, this one knows up to %d); install that version, or go back to the backup made before it",
				path, ErrNewer, version, known)
	}
	return version, nil
}

// looksOurs reports whether a file has exactly the schema of this version, whatever its header says.
func looksOurs(ctx context.Context, db *sql.DB) bool {
	steps, err := steps(migrationFiles)
	if err != nil {
		return false
	}
	odd, err := judgeSchema(ctx, db, steps, len(steps))
	return err == nil && odd == ""
}

// migrate brings a file to the newest schema, one transaction a step, after copying it aside if it holds anything.
func (s *Store) migrate(ctx context.Context, steps []string) error {
	version, err := schemaVersion(ctx, s.w, s.path, len(steps))
	if err != nil || version == len(steps) {
		return err
	}
	if version > 0 {
		if odd, err := judgeSchema(ctx, s.w, steps, version); err != nil || odd != "" {
			if err == nil {
				err = fmt.Errorf("store %s: %w: it says that its schema is %d, but %s", s.path, ErrDamaged,
					version, odd)
			}
			return err
		}
		name, err := s.backup(ctx, version)
		if err != nil {
			return fmt.Errorf("back up before bringing the schema from %d to %d (nothing was changed): %w", version,
				len(steps), err)
		}
		s.log.Info("backed up before a new schema", "from", version, "to", len(steps), "backup", name)
	}
	for n := version; n < len(steps); n++ {
		err := s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
			if _, err := tx.ExecContext(ctx, steps[n]); err != nil {
				return err
			}
			_, err := tx.ExecContext(ctx, fmt.Sprintf("PRAGMA application_id = %d; PRAGMA user_version = %d",
				applicationID, n+1))
			return err
		})
		if err != nil && s.tookThem(ctx, err, steps) { // the version in the header is what is wrong
			return s.watched(fmt.Errorf(
				"store %s: %w: its header is spoiled (it says that its schema is %d, but it has what %d brings: %w)",
				s.path, ErrDamaged, n, n+1, err))
		}
		if err != nil {
			return s.fault(fmt.Sprintf("bring the schema from %d to %d", n, n+1), err)
		}
	}
	return nil
}

// tookThem says whether a step of the migrations failed because the file has had all of them. SQLite has no code of its
// own for something that is there already.
func (s *Store) tookThem(ctx context.Context, err error, steps []string) bool {
	if !strings.Contains(err.Error(), "already exists") && !strings.Contains(err.Error(), "duplicate column name") {
		return false
	}
	odd, err := judgeSchema(ctx, s.w, steps, len(steps))
	return err == nil && odd == ""
}

// backup writes a copy beside the file.
func (s *Store) backup(ctx context.Context, version int) (string, error) {
	stamp := time.Now().UTC().Format("20060102T150405.000000Z")
	name := fmt.Sprintf("%s.schema%d-%s.backup", s.path, version, stamp)
	return name, s.BackupFile(ctx, name)
}

func syncFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}
