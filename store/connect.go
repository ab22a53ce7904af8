package store

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
	"net/url"
	"path/filepath"
	"strconv"
	"time"

	"github.com/mattn/go-sqlite3"
)

const (
	busyTimeout  = 5 * time.Second // how long a statement waits for another program's lock
	walLimit     = 16 << 20        // bytes the write-ahead log is cut back to when it is reset
	readers      = 4
	readerCache  = -512 // negative: KiB
	writerCache  = -1024
	pragmaSilent = "a setting of SQLite did not take effect: %s is %q, want %q"
)

// connector opens connections that are all alike. A pool opens them whenever it likes, so settings made once after
// opening would hold for one of them only; and SQLite ignores settings it does not know, so each is read back.
type connector struct {
	dsn    string
	driver *sqlite3.SQLiteDriver
}

func (c *connector) Connect(context.Context) (driver.Conn, error) { return c.driver.Open(c.dsn) }
func (c *connector) Driver() driver.Driver                        { return c.driver }

// dsn names a file as a URI, so that a path may hold any character.
func dsn(path string, params url.Values) string {
	if abs, err := filepath.Abs(path); err == nil {
		path = abs
	}
	return "file:" + (&url.URL{Path: path}).EscapedPath() + "?" + params.Encode()
}

func openWriter(path string, wait time.Duration) *sql.DB {
	db := sql.OpenDB(&connector{
		dsn: dsn(path, url.Values{
			"_busy_timeout": {strconv.FormatInt(wait.Milliseconds(), 10)},
			"_journal_mode": {"WAL"}, "_synchronous": {"FULL"}, "_txlock": {"immediate"}, "_foreign_keys": {"on"},
			"_cache_size": {strconv.Itoa(writerCache)}, "_stmt_cache_size": {"16"},
		}),
		driver: &sqlite3.SQLiteDriver{ConnectHook: hook(
			[]string{"PRAGMA journal_size_limit=" + strconv.Itoa(walLimit), "PRAGMA temp_store=MEMORY"},
			map[string]string{
				"journal_mode": "wal", "synchronous": "2", "foreign_keys": "1", "temp_store": "2",
				"busy_timeout":       strconv.FormatInt(wait.Milliseconds(), 10),
				"journal_size_limit": strconv.Itoa(walLimit),
			})},
	})
	db.SetMaxOpenConns(1)
	return db
}

func openReaders(path string, wait time.Duration) *sql.DB {
	db := sql.OpenDB(&connector{
		dsn: dsn(path, url.Values{
			"mode": {"ro"}, "_query_only": {"1"}, "_foreign_keys": {"on"},
			"_busy_timeout": {strconv.FormatInt(wait.Milliseconds(), 10)},
			"_cache_size":   {strconv.Itoa(readerCache)}, "_stmt_cache_size": {"16"},
		}),
		driver: &sqlite3.SQLiteDriver{ConnectHook: hook(
			[]string{"PRAGMA temp_store=MEMORY"},
			map[string]string{"query_only": "1", "foreign_keys": "1", "temp_store": "2"})},
	})
	db.SetMaxOpenConns(readers)
	db.SetMaxIdleConns(readers)
	db.SetConnMaxIdleTime(time.Minute)
	return db
}

// openAlone opens connections to a file that no other program has open. They need no room beside it.
func openAlone(path string, wait time.Duration) *sql.DB {
	db := sql.OpenDB(&connector{
		dsn: dsn(path, url.Values{
			"mode": {"rw"}, "cache": {"shared"}, "_locking_mode": {"EXCLUSIVE"}, "_query_only": {"1"},
			"_busy_timeout": {strconv.FormatInt(wait.Milliseconds(), 10)}, "_cache_size": {strconv.Itoa(readerCache)},
		}),
		driver: &sqlite3.SQLiteDriver{ConnectHook: hook(
			[]string{"PRAGMA temp_store=MEMORY"}, map[string]string{"query_only": "1", "temp_store": "2",
				"locking_mode": "exclusive"})},
	})
	db.SetMaxOpenConns(readers)
	db.SetMaxIdleConns(-1)
	return db
}

// openCopier opens a connection that copies a whole file. It reads only, but SQLite counts a copy as a write.
func openCopier(path string) *sql.DB {
	db := sql.OpenDB(&connector{
		dsn: dsn(path, url.Values{"mode": {"ro"},
			"_busy_timeout": {strconv.FormatInt(busyTimeout.Milliseconds(), 10)}}),
		driver: &sqlite3.SQLiteDriver{},
	})
	db.SetMaxOpenConns(1)
	return db
}

// pageBytes is the page of a new file. A commit writes whole pages to the log, and most commits here are a few hundred
// bytes to a few kilobytes: small pages wear a memory card less (BenchmarkBytesWritten has both).
const pageBytes = 1024

// create makes a file that is still empty a database; only then can its page size be chosen.
func create(path string, page int) error {
	c, err := (&sqlite3.SQLiteDriver{}).Open(dsn(path, url.Values{"_busy_timeout": {"5000"}}))
	if err != nil {
		return err
	}
	conn := c.(*sqlite3.SQLiteConn)
	_, err = conn.Exec("PRAGMA page_size = "+strconv.Itoa(page)+"; PRAGMA journal_mode = WAL", nil)
	return errors.Join(err, conn.Close())
}

// hook sets what a connection string cannot, then makes sure that everything asked for is so.
func hook(set []string, want map[string]string) func(*sqlite3.SQLiteConn) error {
	return func(c *sqlite3.SQLiteConn) error {
		if err := RowSum(c); err != nil {
			return err
		}
		for _, stmt := range set {
			if _, err := c.Exec(stmt, nil); err != nil {
				return err
			}
		}
		for name, value := range want {
			got, err := pragma(c, name)
			if err != nil {
				return err
			}
			if got != value {
				return fmt.Errorf(pragmaSilent, name, got, value)
			}
		}
		return nil
	}
}

func pragma(c *sqlite3.SQLiteConn, name string) (string, error) {
	rows, err := c.Query("PRAGMA "+name, nil)
	if err != nil {
		return "", err
	}
	defer rows.Close()
	row := make([]driver.Value, len(rows.Columns()))
	if err := rows.Next(row); err != nil {
		if err == io.EOF {
			return "", nil // a name SQLite does not know answers with nothing
		}
		return "", err
	}
	return fmt.Sprint(row[0]), nil
}
