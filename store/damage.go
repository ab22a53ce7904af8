package store

import (
	"errors"
	"fmt"
	"os"
)

// Damaged is damage that was met while reading.
type Damaged struct {
	Why error // says what and where
	// Result is the run of which only what was concluded is spoiled: fitting its readings again cures it. 0: the file
	// was marked, and the next start saves what can be read of it.
	Result int64
}

// maxMet bounds how many different damages are remembered as reported.
const maxMet = 1000

// meet reports damage, once for each. Where a result fitted again does not cure it, the file is marked, so that the
// next start does.
func (s *Store) meet(d Damaged) {
	text := d.Why.Error()
	s.mu.Lock()
	known := s.met[text] || len(s.met) >= maxMet
	if !known {
		s.met[text] = true
	}
	s.mu.Unlock()
	if known {
		return
	}
	if d.Result == 0 && s.keptHere() {
		if err := MarkDamaged(s.path, d.Why); err != nil {
			s.log.Error("cannot note that the record is damaged", "error", err)
		}
	}
	if s.onDamage != nil {
		s.onDamage(d)
	}
}

// keptHere reports whether the file is a record that a daemon keeps, and not a backup that is being looked at.
func (s *Store) keptHere() bool {
	if s.lock != nil {
		return true
	}
	_, err := os.Stat(s.path + ".lock")
	return err == nil
}

// spoiled reports a row that is not as it was written, and says so for the reader of that row.
func (s *Store) spoiled(what string, result int64) string {
	cure := "restart the daemon, which saves what can be read, or go back to a backup"
	if result != 0 {
		cure = fmt.Sprintf("the daemon fits the readings again, or tramd refit --keep %d does", result)
	}
	s.meet(Damaged{Why: fmt.Errorf("store %s: %w: %s is not as it was written", s.path, ErrDamaged, what),
		Result: result})
	return what + " is not as it was written: " + cure
}

// watched reports an error that is damage, and gives it back.
func (s *Store) watched(err error) error {
	if errors.Is(err, ErrDamaged) {
		s.meet(Damaged{Why: err})
	}
	return err
}
