package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"time"

	"tramd/sweep"
)

// Import is a recorded sweep from elsewhere, with the result that today's model gives it.
type Import struct {
	NewRun
	File   string // its name, to be shown
	Points []sweep.Point
	Result sweep.Result
	Again  bool // store it even if it was imported before

	Samples *Samples // of a measurement that is no sweep, instead of Points
	Finding *Finding // of it, instead of Result
}

// ImportRun stores a recorded sweep as a finished run, all of it or nothing. One with the readings of an earlier
// import, or of a run that was taken here, is refused (ErrImported) unless it asks for it.
func (s *Store) ImportRun(ctx context.Context, im Import) (int64, error) {
	doing := "import " + im.File
	if s.w == nil {
		return 0, s.readOnly(doing)
	}
	samples := Samples{Points: im.Points}
	if im.Samples != nil {
		samples = *im.Samples
	}
	if im.Kind == "" || im.StartedAt.IsZero() || len(samples.Points) == 0 {
		return 0, fmt.Errorf("%s: a kind, a date and readings are needed", doing)
	}
	if im.Finding == nil {
		f, err := FindingOf(im.Result)
		if err != nil {
			return 0, fmt.Errorf("%s: %w", doing, err)
		}
		im.Finding = &f
	}
	whole, err := samples.quantise()
	if err != nil {
		return 0, fmt.Errorf("%s: %w", doing, err)
	}
	hash := whole.hash()
	pieces, err := pack(samples)
	if err != nil {
		return 0, fmt.Errorf("%s: %w", doing, err)
	}
	im.BootID, im.BootTime, im.ClockSet = "", 0, true
	first, last := math.Inf(1), math.Inf(-1)
	for _, p := range samples.Points {
		first, last = min(first, p.T), max(last, p.T)
	}
	if !im.Again {
		run, err := s.recorded(ctx, whole)
		if err == nil && run != "" {
			err = fmt.Errorf("%w: its readings are those of %s", ErrImported, run)
		}
		if err != nil {
			return 0, s.fault(doing, err)
		}
	}
	ended := im.StartedAt.Add(time.Duration((last - first) * float64(time.Second)))
	var id int64
	err = s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		var before int64
		var file string
		switch err := tx.QueryRowContext(ctx, "SELECT run_id, file FROM import WHERE hash = ?", hash[:]).Scan(
			&before, &file); {
		case err == nil && !im.Again:
			return fmt.Errorf("%w: its readings are those of run %d, imported from %s", ErrImported, before, file)
		case err != nil && !errors.Is(err, sql.ErrNoRows):
			return err
		}
		res, err := putRun(ctx, tx, im.NewRun)
		if err != nil {
			return err
		}
		if id, err = res.LastInsertId(); err != nil {
			return err
		}
		if err := putPieces(ctx, tx, id, pieces); err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, `INSERT INTO import (hash, run_id, file) VALUES (?, ?, ?)
			ON CONFLICT (hash) DO UPDATE SET run_id = excluded.run_id, file = excluded.file`, hash[:], id, im.File); err != nil {
			return err
		}
		if err := endRun(ctx, tx, id, Finished, sql.NullInt64{Int64: micros(ended), Valid: true}, ""); err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, "UPDATE run SET origin = ? WHERE id = ?", im.File, id); err != nil {
			return err
		}
		return putFinding(ctx, tx, id, *im.Finding)
	})
	if err != nil {
		return 0, s.fault(doing, err)
	}
	return id, nil
}

// hash is over the whole numbers that are stored, so that line ends, comments and trailing zeros make no difference.
func (c columns) hash() (sum [32]byte) {
	h := sha256.New()
	var row [33]byte
	for i := range c.micros {
		binary.LittleEndian.PutUint64(row[0:], uint64(c.micros[i]-c.micros[0]))
		binary.LittleEndian.PutUint64(row[8:], uint64(c.steps[i]))
		binary.LittleEndian.PutUint64(row[16:], uint64(c.nano[i]))
		binary.LittleEndian.PutUint64(row[24:], uint64(c.indicator[i]))
		row[32] = 0
		if c.tagged[i] {
			row[32] = 1
		}
		h.Write(row[:])
	}
	for _, extra := range c.extra { // none in a sweep, so that its hash is as ever
		h.Write([]byte(extra.name))
		for i, v := range extra.micro {
			binary.LittleEndian.PutUint64(row[0:], uint64(v))
			row[8] = 0
			if extra.known[i] {
				row[8] = 1
			}
			h.Write(row[:9])
		}
		for _, w := range extra.words {
			fmt.Fprintf(h, "%d:%s", len(w), w)
		}
	}
	h.Sum(sum[:0])
	return sum
}
