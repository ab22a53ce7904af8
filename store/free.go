package store

import (
	"fmt"
	"path/filepath"

	"golang.org/x/sys/unix"
)

// Free returns the bytes that may still be written to the file system the record is kept on.
func (s *Store) Free() (uint64, error) {
	var fs unix.Statfs_t
	if err := unix.Statfs(filepath.Dir(s.path), &fs); err != nil {
		return 0, fmt.Errorf("ask how much room is left beside %s: %w", s.path, err)
	}
	return fs.Bavail * uint64(fs.Bsize), nil
}
