package store

import (
	"path/filepath"
	"testing"
)

// A backup that something was changed in is refused, whatever its version says; a view of its own does no harm.
func TestRestoreTakesOnlyWhatTheMigrationsMake(t *testing.T) {
	ctx := t.Context()
	for name, c := range map[string]struct{ spoil, says string }{
		"a trigger that deletes": {"CREATE TRIGGER sweep_up AFTER INSERT ON run BEGIN DELETE FROM result; END",
			"trigger sweep_up is none that this program makes"},
		"a view for a table": {"DROP TABLE event; CREATE VIEW event AS SELECT 1 AS id",
			"view event is not the table"},
		"a table dropped":     {"DROP TABLE doubt", "table doubt is missing"},
		"another table":       {"CREATE TABLE cutters (x)", "table cutters"},
		"an index":            {"CREATE INDEX mine ON run (note)", "index mine"},
		"a trigger dropped":   {"DROP TRIGGER result_line", "trigger result_line is missing"},
		"a negative version":  {"PRAGMA user_version = -3", "version -3"},
		"a version too low":   {"PRAGMA user_version = 5", "is not the"},
		"a version too high":  {"PRAGMA user_version = 77", "version 77"},
		"another application": {"PRAGMA application_id = 7", "whose file it is"},
		"a view of its own":   {"CREATE VIEW leans_of_mine AS SELECT id FROM run", ""},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			path, file := filepath.Join(dir, "linnet.db"), filepath.Join(dir, "backup.db")
			s := open(t, path)
			id := begin(t, s)
			if err := s.BackupFile(ctx, file); err != nil {
				t.Fatal(err)
			}
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			db := plainDB(t, file)
			if _, err := db.Exec(c.spoil); err != nil {
				t.Fatal(err)
			}
			if err := db.Close(); err != nil {
				t.Fatal(err)
			}
			_, err := Restore(ctx, path, file)
			if c.says == "" {
				if err != nil {
					t.Fatal(err)
				}
			} else {
				wantErr(t, err, nil, "nothing was changed", c.says)
			}
			if _, err := open(t, path).Run(ctx, id); err != nil {
				t.Errorf("the record afterwards: %v", err)
			}
		})
	}
}
