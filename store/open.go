package store

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"time"
)

// Options set up a store. The zero value will do.
type Options struct {
	BootID string       // of this boot, for runs that name none
	Log    *slog.Logger // nil: silent

	Damaged func(Damaged) // gets each damage that is met, once, from whichever goroutine meets it; may be nil

	busyTimeout time.Duration // zero: the usual; tests wait less
	files       fs.FS         // nil: the migrations built in
	pageBytes   int           // of a new file; zero: the usual
}

// Store is one database file. See the package's promises.
type Store struct {
	path     string
	bootID   string
	log      *slog.Logger
	lock     *lock
	cutShort bool    // there was something in the write-ahead log when it was opened
	w        *sql.DB // one connection; nil when opened for reading only
	r        *sql.DB
	waiting  *waiting // for room, to be opened; nil: it is open

	sound    map[string]string // by table: the condition under which a row is as it was written
	onDamage func(Damaged)

	mu     sync.Mutex
	setups map[int64]stored    // by row; a stored setup never changes
	met    map[string]bool     // damage that was reported
	begun  map[int64]time.Time // runs begun through this store and not ended: when, on the clock that is never set

	closing  sync.Once
	closeErr error
}

// Open opens the database at path for writing, makes it if there is none, and brings it to the newest schema. One
// process at a time may have it open so: the lock beside it, path+".lock", says which (ErrBusy).
func Open(ctx context.Context, path string, o Options) (*Store, error) {
	dir := filepath.Dir(path)
	if st, err := os.Stat(dir); err != nil {
		if errors.Is(err, fs.ErrNotExist) {
			return nil,
				fmt.Errorf("store %s: there is no directory %s; make it, writable for the user this runs as: %w",
					path, dir, err)
		}
		return nil, fmt.Errorf("store %s: directory: %w", path, err)
	} else if !st.IsDir() {
		return nil, fmt.Errorf("store %s: %s is not a directory; give another path", path, dir)
	}
	lock, err := takeLock(path)
	if err != nil {
		return nil, wasFull(path, err)
	}
	s := o.store(path)
	s.lock = lock
	if err := s.open(ctx, o); err != nil {
		_ = s.Close()
		return nil, wasFull(path, err)
	}
	lock.mark()
	return s, nil
}

func (s *Store) open(ctx context.Context, o Options) error {
	if err := whyDamaged(s.path); err != nil {
		return err
	}
	if err := probe(s.path, os.O_RDWR|os.O_CREATE); err != nil {
		return s.wasOurs(err)
	}
	known, err := o.steps()
	if err != nil {
		return err
	}
	if err := headerSpoiled(s.path, s.lock.held, len(known)); err != nil {
		return err
	}
	if st, err := os.Stat(s.path); err == nil && st.Size() == 0 && s.lock.held {
		return s.wasOurs(fmt.Errorf("store %s: %w: it is empty", s.path, ErrNotDatabase))
	}
	if st, err := os.Stat(s.path); err == nil && st.Size() == 0 {
		if err := create(s.path, o.page()); err != nil {
			return s.fault("create", err)
		}
	}
	if err := s.lock.lockItself(s.path); err != nil {
		return err
	}
	if st, err := os.Stat(s.path + "-wal"); err == nil {
		s.cutShort = st.Size() > 0
	}
	s.w = openWriter(s.path, o.wait())
	if err := s.w.PingContext(ctx); err != nil {
		return s.wasOurs(s.fault("open", err))
	}
	if err := s.migrate(ctx, known); err != nil {
		return s.wasOurs(err)
	}
	if err := s.keepSums(ctx); err != nil {
		return s.fault("keep the sums", err)
	}
	if err := s.judge(ctx, known); err != nil {
		return err
	}
	if err := syncDir(s.path); err != nil { // or a power cut could take a new file's name away
		return fmt.Errorf("store %s: %w", s.path, err)
	}
	s.r = openReaders(s.path, o.wait())
	if err := s.r.PingContext(ctx); err != nil {
		return s.fault("open for reading", err)
	}
	if s.sound, err = soundness(ctx, s.r); err != nil {
		return s.fault("open for reading", err)
	}
	return nil
}

// wasOurs tells a file that is no database from one that was ours and is none any more: a power cut can leave a file
// empty or full of zeros.
func (s *Store) wasOurs(err error) error {
	if s.lock.held && errors.Is(err, ErrNotDatabase) && !errors.Is(err, errOthers) {
		return fmt.Errorf("%w, though it held the record before: %w", ErrDamaged, err)
	}
	return err
}

// OpenReadOnly opens an existing database, also while another program writes it. Methods that write fail with
// ErrReadOnly.
func OpenReadOnly(ctx context.Context, path string, o Options) (*Store, error) {
	if err := probe(path, os.O_RDONLY); err != nil {
		return nil, err
	}
	steps, err := o.steps()
	if err != nil {
		return nil, err
	}
	s := o.store(path)
	s.r = openReaders(path, o.wait())
	version, err := schemaVersion(ctx, s.r, path, len(steps))
	if err == nil && version < len(steps) {
		err = fmt.Errorf(
			"store %s: schema %d is older than this version's (%d); start the daemon on it once, which brings it up to date",
			path, version, len(steps))
	}
	if err == nil {
		s.sound, err = soundness(ctx, s.r)
	}
	if err != nil {
		_ = s.Close()
		return nil, err
	}
	return s, nil
}

// Close folds the write-ahead log into the file and gives the lock back. It may be called again.
func (s *Store) Close() error {
	s.closing.Do(func() {
		var errs []error
		if s.r != nil { // first, for an open reader keeps the log from being emptied
			errs = append(errs, s.r.Close())
		}
		if s.w != nil && s.waiting == nil {
			if err := s.Checkpoint(context.Background()); err != nil {
				s.log.Warn("the write-ahead log stays beside the database; nothing is lost", "err", err)
			}
		}
		if s.w != nil {
			errs = append(errs, s.w.Close())
		}
		errs = append(errs, s.lock.release())
		s.closeErr = errors.Join(errs...)
	})
	return s.closeErr
}

// Fold does what Checkpoint does where there is something in the log, and says whether the file alone holds everything
// now. It does not where a reader is at work: call it again later.
func (s *Store) Fold(ctx context.Context) (done bool, err error) {
	if !hasLog(s.path) {
		return true, nil
	}
	if err := s.Checkpoint(ctx); err != nil {
		return false, err
	}
	return !hasLog(s.path), nil
}

// Checkpoint moves the write-ahead log into the database file and empties it. It may take long on a slow card: call it
// after a run, not during one. With readers at work it does what it can.
func (s *Store) Checkpoint(ctx context.Context) error {
	if s.w == nil {
		return s.readOnly("checkpoint")
	}
	var busy, frames, moved int
	if err := s.w.QueryRowContext(ctx, "PRAGMA wal_checkpoint(TRUNCATE)").Scan(&busy, &frames, &moved); err != nil {
		return s.fault("checkpoint", err)
	}
	return nil
}

// write runs do in one transaction. ctx bounds the wait for the connection; the work itself is not cut short, for a
// commit that was interrupted half way would leave open whether it counts.
func (s *Store) write(ctx context.Context, do func(context.Context, *sql.Tx) error) error {
	conn, err := s.w.Conn(ctx)
	if err != nil {
		return err
	}
	defer conn.Close()
	ctx = context.WithoutCancel(ctx)
	tx, err := conn.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback() // a no-op after Commit
	if err := do(ctx, tx); err != nil {
		return err
	}
	if err := s.stillThere(); err != nil {
		return err
	}
	return tx.Commit()
}

// stillThere reports that the file under the store's name is no longer the one that is open: it was removed or
// replaced, and what is written would be gone with the program.
func (s *Store) stillThere() error {
	if s.lock == nil || s.lock.itself == nil {
		return nil
	}
	open, err := s.lock.itself.Stat()
	if err != nil {
		return nil // the commit says what is wrong
	}
	named, err := os.Stat(s.path)
	if err == nil && os.SameFile(open, named) {
		return nil
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return fmt.Errorf(
		"store %s: %w: it was removed or replaced while it was open; put the file back, or a backup with tramd restore, "+
			"and start the daemon again", s.path, ErrReadOnly)
}

func (s *Store) readOnly(doing string) error {
	return fmt.Errorf("%s: store %s: %w: it was opened for reading only; ask the daemon that holds it", doing, s.path,
		ErrReadOnly)
}

func (o Options) store(path string) *Store {
	log := o.Log
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	return &Store{path: path, bootID: o.BootID, log: log, onDamage: o.Damaged, setups: map[int64]stored{},
		begun: map[int64]time.Time{}, met: map[string]bool{}}
}

func (o Options) wait() time.Duration {
	if o.busyTimeout > 0 {
		return o.busyTimeout
	}
	return busyTimeout
}

func (o Options) page() int {
	if o.pageBytes > 0 {
		return o.pageBytes
	}
	return pageBytes
}

func (o Options) steps() ([]string, error) {
	if o.files != nil {
		return steps(o.files)
	}
	return steps(migrationFiles)
}

// probe opens the file the plain way first: the operating system's reasons are clearer than SQLite's.
func probe(path string, flags int) error {
	f, err := os.OpenFile(path, flags, 0o640)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf(
			"store %s: there is no such file; check the path, or start the daemon once, which makes it: %w", path, err)
	case isFull(err):
		return fmt.Errorf("store %s: %w", path, err)
	case err != nil && flags != os.O_RDONLY:
		return fmt.Errorf("store %s: %w: %w; give the user this runs as the right to write it, or another path", path,
			ErrReadOnly, err)
	case err != nil:
		return fmt.Errorf("store %s: %w", path, err)
	}
	defer f.Close()
	if st, err := f.Stat(); err == nil && !st.Mode().IsRegular() {
		return fmt.Errorf("store %s: %w: it is a %s, not a file; give another path", path, ErrNotDatabase,
			st.Mode().Type())
	}
	head := make([]byte, len(magic))
	n, err := io.ReadFull(f, head)
	if err == io.EOF && n == 0 { // empty: about to become one
		return nil
	}
	if !bytes.Equal(head[:n], []byte(magic)) {
		return fmt.Errorf("store %s: %w; give another path, or move that file away", path, ErrNotDatabase)
	}
	return nil
}

// magic opens every SQLite 3 file (SQLite, "Database File Format", section 1.3.1).
const magic = "SQLite format 3\x00"

func syncDir(path string) error {
	d, err := os.Open(filepath.Dir(path))
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
