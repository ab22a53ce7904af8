package store

import (
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"testing/fstest"
	"time"

	"github.com/mattn/go-sqlite3"
)

func wantErr(t *testing.T, err, is error, says ...string) {
	t.Helper()
	if err == nil || is != nil && !errors.Is(err, is) {
		t.Errorf("got %v, want one that is %v", err, is)
		return
	}
	for _, s := range says {
		if !strings.Contains(err.Error(), s) {
			t.Errorf("got %q, want it to say %q", err, s)
		}
	}
}

func tryOpen(t *testing.T, path string) error {
	t.Helper()
	s, err := Open(t.Context(), path, Options{busyTimeout: 100 * time.Millisecond})
	if err == nil {
		_ = s.Close()
	}
	return err
}

// plainDB is the file as any other program would open it.
func plainDB(t *testing.T, path string) *sql.DB {
	t.Helper()
	db := sql.OpenDB(&connector{dsn: path, driver: &sqlite3.SQLiteDriver{}})
	t.Cleanup(func() { _ = db.Close() })
	return db
}

func TestOpenRefuses(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	t.Run("no directory", func(t *testing.T) {
		path := filepath.Join(dir, "nowhere", "linnet.db")
		wantErr(t, tryOpen(t, path), fs.ErrNotExist, path, "there is no directory", "make it")
	})
	t.Run("a file as directory", func(t *testing.T) {
		wantErr(t, tryOpen(t, filepath.Join(write("plain", "x"), "linnet.db")), nil, "is not a directory")
	})
	t.Run("garbage", func(t *testing.T) {
		path := write("garbage.db", strings.Repeat("not a database at all ", 500))
		wantErr(t, tryOpen(t, path), ErrNotDatabase, path, "give another path")
		if text, err := os.ReadFile(path); err != nil || !strings.HasPrefix(string(text), "not a database at all") ||
			len(text) != 11000 {
			t.Errorf("the file was changed")
		}
	})
	t.Run("garbage that begins well", func(t *testing.T) {
		path := write("almost.db", magic+strings.Repeat("\x07", 5000))
		wantErr(t, tryOpen(t, path), ErrNotDatabase, path)
	})
	t.Run("too short", func(t *testing.T) {
		wantErr(t, tryOpen(t, write("short.db", "SQL")), ErrNotDatabase)
	})
	t.Run("a directory", func(t *testing.T) {
		if err := tryOpen(t, dir); err == nil {
			t.Error("opened a directory")
		}
	})
	t.Run("another program's database", func(t *testing.T) {
		path := filepath.Join(dir, "other.db")
		if _, err := plainDB(t, path).Exec("CREATE TABLE cutters (name)"); err != nil {
			t.Fatal(err)
		}
		wantErr(t, tryOpen(t, path), ErrNotDatabase, "another program's")
	})
	t.Run("a newer schema", func(t *testing.T) {
		path := filepath.Join(dir, "newer.db")
		if err := tryOpen(t, path); err != nil {
			t.Fatal(err)
		}
		if _, err := plainDB(t, path).Exec("CREATE TABLE later (x); PRAGMA user_version = 99"); err != nil {
			t.Fatal(err)
		}
		wantErr(t, tryOpen(t, path), ErrNewer, path, "schema 99", "install that version")
		_, err := OpenReadOnly(t.Context(), path, Options{})
		wantErr(t, err, ErrNewer)
	})
	t.Run("locked by another program", func(t *testing.T) {
		path := filepath.Join(dir, "locked.db")
		if err := tryOpen(t, path); err != nil {
			t.Fatal(err)
		}
		db := plainDB(t, path)
		db.SetMaxOpenConns(1)
		if _, err := db.Exec("PRAGMA locking_mode = EXCLUSIVE; BEGIN EXCLUSIVE"); err != nil {
			t.Fatal(err)
		}
		wantErr(t, tryOpen(t, path), ErrBusy, path, "let that one finish")
		if _, err := db.Exec("ROLLBACK; PRAGMA locking_mode = NORMAL"); err != nil {
			t.Fatal(err)
		}
		_ = db.Close()
		if err := tryOpen(t, path); err != nil {
			t.Errorf("after it was let go: %v", err)
		}
	})
	t.Run("two daemons", func(t *testing.T) {
		path := filepath.Join(dir, "two.db")
		first := open(t, path)
		wantErr(t, tryOpen(t, path), ErrBusy, fmt.Sprintf("in use by pid %d", os.Getpid()))
		if err := first.Close(); err != nil {
			t.Fatal(err)
		}
		if err := tryOpen(t, path); err != nil {
			t.Errorf("after the first closed: %v", err)
		}
	})
	t.Run("two daemons by two names", func(t *testing.T) {
		for name, link := range map[string]func(old, new string) error{"symbolic": os.Symlink, "hard": os.Link} {
			path := filepath.Join(dir, name+".db")
			first := open(t, path)
			other := filepath.Join(dir, name+"-too.db")
			if err := link(path, other); err != nil {
				t.Fatal(err)
			}
			wantErr(t, tryOpen(t, other), ErrBusy, "under another name of the same file")
			begin(t, first)
			if err := first.Close(); err != nil {
				t.Fatal(err)
			}
			if err := tryOpen(t, other); err != nil {
				t.Errorf("%s: after the first closed: %v", name, err)
			}
		}
	})
	t.Run("to be read but not there", func(t *testing.T) {
		_, err := OpenReadOnly(t.Context(), filepath.Join(dir, "absent.db"), Options{})
		wantErr(t, err, fs.ErrNotExist, "there is no such file")
	})
}

// Nothing here may be written: a mount that is read-only where a mount can be had, else a directory without the right
// to write, which holds back everyone but root.
func TestOpenWhereNothingMayBeWritten(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "linnet.db")
	if err := tryOpen(t, path); err != nil {
		t.Fatal(err)
	}
	if os.Getuid() != 0 {
		if err := errors.Join(os.Chmod(path, 0o400), os.Chmod(path+".lock", 0o400), os.Chmod(dir, 0o500)); err != nil {
			t.Fatal(err)
		}
		wantErr(t, tryOpen(t, path), ErrReadOnly, path, "the right to write")
		return
	}
	mounted := tmpfs(t, "size=1m")
	if mounted == "" { // root in a jail: SQLite's own refusal is what is left to look at
		ro, err := OpenReadOnly(t.Context(), path, Options{})
		if err != nil {
			t.Fatal(err)
		}
		defer ro.Close()
		_, err = ro.r.Exec("DELETE FROM run")
		wantErr(t, ro.fault("write", err), ErrReadOnly, "the right to write")
		return
	}
	if err := syscall.Mount("tmpfs", mounted, "tmpfs", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
		t.Fatal(err)
	}
	wantErr(t, tryOpen(t, filepath.Join(mounted, "linnet.db")), ErrReadOnly, mounted, "the right to write")
}

func TestPathWithOddCharacters(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a b#c?d%41&mode=memory.db")
	s := open(t, path)
	id := begin(t, s)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if st, err := os.Stat(path); err != nil || st.Size() == 0 {
		t.Fatalf("no file of that name: %v", err)
	}
	if _, err := open(t, path).Run(t.Context(), id); err != nil {
		t.Error(err)
	}
}

// Every connection there will ever be is set as promised, not only the first.
func TestEveryConnectionIsSet(t *testing.T) {
	ctx := t.Context()
	s := fresh(t)
	for name, db := range map[string]*sql.DB{"writer": s.w, "reader": s.r} {
		var held []*sql.Conn
		for range db.Stats().MaxOpenConnections {
			c, err := db.Conn(ctx)
			if err != nil {
				t.Fatal(err)
			}
			held = append(held, c)
			var keys, sync, query int
			var mode string
			if err := c.QueryRowContext(
				ctx, `SELECT (SELECT * FROM pragma_foreign_keys), (SELECT * FROM pragma_synchronous),
				(SELECT * FROM pragma_query_only), (SELECT * FROM pragma_journal_mode)`).Scan(&keys, &sync, &query, &mode); err != nil {
				t.Fatal(err)
			}
			if keys != 1 || mode != "wal" || name == "writer" && (sync != 2 || query != 0) || name == "reader" &&
				query != 1 {
				t.Errorf("%s: foreign_keys %d, synchronous %d, query_only %d, journal_mode %s", name, keys, sync,
					query, mode)
			}
		}
		for _, c := range held {
			_ = c.Close()
		}
	}
	_,
		err := s.w.Exec(
		"INSERT INTO chunk (id, run_id, seq, readings, untagged, data) VALUES (99 << 20, 99, 0, 1, 0, x'00')")
	if err == nil || !strings.Contains(err.Error(), "FOREIGN KEY") {
		t.Errorf("readings of no run: got %v, want a foreign key error", err)
	}
}

// A setting that SQLite does not know is an error, not silence.
func TestSettingThatDidNotTake(t *testing.T) {
	db := sql.OpenDB(&connector{dsn: dsn(filepath.Join(t.TempDir(), "x.db"), nil),
		driver: &sqlite3.SQLiteDriver{ConnectHook: hook(nil, map[string]string{"synchronous": "3"})}})
	defer db.Close()
	wantErr(t, db.Ping(), nil, "did not take effect: synchronous")
}

func TestReadOnlyBesideTheWriter(t *testing.T) {
	ctx := t.Context()
	s := fresh(t)
	id := begin(t, s)
	ro, err := OpenReadOnly(ctx, s.path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer ro.Close()
	if _, err := ro.Run(ctx, id); err != nil {
		t.Error(err)
	}
	for name, err := range map[string]error{
		"begin":   second(ro.BeginRun(ctx, NewRun{Kind: "sweep"})),
		"append":  ro.AppendPoints(ctx, id, nil),
		"finish":  ro.FinishRun(ctx, id, Finished, day, "", nil),
		"result":  ro.AddResult(ctx, id, *resultOf(0, 0)),
		"event":   second(ro.AddEvent(ctx, Event{})),
		"recover": second(ro.RecoverUnfinished(ctx)),
		"empty":   ro.Checkpoint(ctx),
	} {
		if !errors.Is(err, ErrReadOnly) {
			t.Errorf("%s: got %v, want ErrReadOnly", name, err)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := ro.Run(ctx, id); err != nil {
		t.Errorf("after the writer closed: %v", err)
	}
	alone, err := OpenReadOnly(ctx, s.path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer alone.Close()
	if _, err := alone.Run(ctx, id); err != nil {
		t.Errorf("with no writer: %v", err)
	}
}

func TestCloseEmptiesTheLog(t *testing.T) {
	s := fresh(t)
	begin(t, s)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Errorf("closing again: %v", err)
	}
	if st, err := os.Stat(s.path + "-wal"); err == nil && st.Size() > 0 {
		t.Errorf("the write-ahead log still holds %d bytes", st.Size())
	}
}

func TestMigration(t *testing.T) {
	ctx := t.Context()
	present, err := steps(migrationFiles)
	if err != nil {
		t.Fatal(err)
	}
	now := len(present)
	next := func(sql string) fs.FS {
		files := fstest.MapFS{"migrations/9999_next.sql": {Data: []byte(sql)}}
		for i, text := range present {
			files[fmt.Sprintf("migrations/%04d.sql", i+1)] = &fstest.MapFile{Data: []byte(text)}
		}
		return files
	}
	path := filepath.Join(t.TempDir(), "linnet.db")
	s := open(t, path)
	id := begin(t, s)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	backups := func() []string {
		found, err := filepath.Glob(path + ".*backup*")
		if err != nil {
			t.Fatal(err)
		}
		return found
	}
	if found := backups(); len(found) != 0 {
		t.Fatalf("a new file was backed up: %v", found)
	}
	if _, err := OpenReadOnly(ctx, path, Options{files: next("SELECT 1")}); err == nil ||
		!strings.Contains(err.Error(), "start the daemon on it once") {
		t.Errorf("reading an older schema: %v", err)
	}

	// A step that fails leaves the file at the step before it.
	_, err = Open(ctx, path, Options{files: next("ALTER TABLE run ADD COLUMN part TEXT; CREATE TABLE run (x)")})
	wantErr(t, err, nil, fmt.Sprintf("bring the schema from %d to %d", now, now+1))
	s = open(t, path)
	if _, err := s.Run(ctx, id); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}

	s, err = Open(ctx, path, Options{files: next("ALTER TABLE run ADD COLUMN part TEXT")})
	if err != nil {
		t.Fatal(err)
	}
	var version int
	if err := s.w.QueryRow("SELECT count(part) + (SELECT user_version FROM pragma_user_version) FROM run").Scan(
		&version); err != nil || version != now+1 {
		t.Errorf("schema %d, %v, want %d", version, err, now+1)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	found := backups()
	if len(found) != 2 {
		t.Fatalf("backups: %v, want one for each try", found)
	}
	old, err := OpenReadOnly(ctx, found[1], Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer old.Close()
	if _, err := old.Run(ctx, id); err != nil {
		t.Errorf("in the backup: %v", err)
	}
	wantErr(t, tryOpen(t, path), ErrNewer, fmt.Sprintf("schema %d, this one knows up to %d", now+1, now))
}
