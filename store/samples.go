package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"regexp"

	"tramd/sweep"
)

// Samples are the readings of a measurement of any kind: each with its time, indicator and, where it has one, angle,
// and with whatever else its kind says of where it was taken.
type Samples struct {
	Points  []sweep.Point
	Columns []Column // each as long as Points
}

// Column is one more thing that is known of each reading: numbers or words.
type Column struct {
	Name   string    // with its unit: "position_mm", "height_mm", "side_deg", "edge"
	Values []float64 // kept to 1e-6 of the unit; NaN: not known
	Words  []string  // instead of Values; empty: not said
}

// Limits of the columns beside time, angle, reading and indicator.
const (
	maxColumns   = 16
	maxWords     = 256 // different ones in a chunk
	maxWord      = 64  // bytes
	microPerUnit = 1e6
	maxMicro     = int64(1e15) // a billion of the unit: a double still tells millionths apart
)

var columnName = regexp.MustCompile(`^[a-z][a-z0-9_]{0,40}$`)

// Column returns a column by its name; nil if there is none.
func (s Samples) Column(name string) *Column {
	for i := range s.Columns {
		if s.Columns[i].Name == name {
			return &s.Columns[i]
		}
	}
	return nil
}

func (s Samples) part(first, end int) Samples {
	out := Samples{Points: s.Points[first:end]}
	for _, c := range s.Columns {
		if c.Words != nil {
			c.Words = c.Words[first:end]
		} else {
			c.Values = c.Values[first:end]
		}
		out.Columns = append(out.Columns, c)
	}
	return out
}

// quantise turns readings into whole numbers, and refuses what could not be read back.
func (s Samples) quantise() (columns, error) {
	if err := s.fits(); err != nil {
		return columns{}, err
	}
	c, err := quantise(s.Points)
	if err != nil {
		return c, err
	}
	if len(s.Columns) > maxColumns {
		return c, fmt.Errorf("%d columns, at most %d can be stored", len(s.Columns), maxColumns)
	}
	seen := map[string]bool{}
	for _, col := range s.Columns {
		if !columnName.MatchString(col.Name) || seen[col.Name] {
			return c, fmt.Errorf("column %q: give each a name of its own, of small letters, digits and _", col.Name)
		}
		seen[col.Name] = true
		extra, err := col.quantise(len(s.Points))
		if err != nil {
			return c, fmt.Errorf("column %s: %w", col.Name, err)
		}
		c.extra = append(c.extra, extra)
	}
	return c, nil
}

// fits refuses columns that are not as long as the readings.
func (s Samples) fits() error {
	n := len(s.Points)
	for _, c := range s.Columns {
		if c.Words == nil && len(c.Values) != n || c.Words != nil && (len(c.Words) != n || c.Values != nil) {
			return fmt.Errorf("column %s: %d words and %d values for %d readings", c.Name, len(c.Words),
				len(c.Values), n)
		}
	}
	return nil
}

func (c Column) quantise(n int) (extraColumn, error) {
	out := extraColumn{name: c.Name}
	if c.Words != nil {
		different := map[string]bool{}
		for i, w := range c.Words {
			if different[w] = true; len(different) > maxWords {
				return out, fmt.Errorf("more than %d different words", maxWords)
			}
			if len(w) > maxWord {
				return out, fmt.Errorf("reading %d: %.20q... is longer than %d bytes", i+1, w, maxWord)
			}
		}
		out.words = c.Words
		return out, nil
	}
	out.micro, out.known = make([]int64, n), make([]bool, n)
	for i, v := range c.Values {
		if math.IsNaN(v) {
			continue
		}
		var ok bool
		if out.micro[i], ok = whole(v*microPerUnit, maxMicro); !ok {
			return out, fmt.Errorf("reading %d: %v cannot be stored", i+1, v)
		}
		out.known[i] = true
	}
	return out, nil
}

// samples are the readings that columns hold.
func (c columns) samples() Samples {
	out := Samples{Points: c.points()}
	for _, x := range c.extra {
		col := Column{Name: x.name, Words: x.words}
		if x.words == nil {
			col.Values = make([]float64, len(x.micro))
			for i, v := range x.micro {
				col.Values[i] = math.NaN()
				if x.known[i] {
					col.Values[i] = float64(v) / microPerUnit
				}
			}
		}
		out.Columns = append(out.Columns, col)
	}
	return out
}

// join adds more readings. A column that only one side has is unknown on the other.
func (s *Samples) join(more Samples) {
	before, added := len(s.Points), len(more.Points)
	s.Points = append(s.Points, more.Points...)
	for _, c := range more.Columns {
		if s.Column(c.Name) == nil {
			s.Columns = append(s.Columns, Column{Name: c.Name, Words: blank(c.Words != nil, before),
				Values: unknown(c.Words == nil, before)})
		}
	}
	for i := range s.Columns {
		own := &s.Columns[i]
		c := more.Column(own.Name)
		if own.Words != nil {
			words := blank(true, added)
			if c != nil && c.Words != nil {
				words = c.Words
			}
			own.Words = append(own.Words, words...)
			continue
		}
		values := unknown(true, added)
		if c != nil && c.Values != nil {
			values = c.Values
		}
		own.Values = append(own.Values, values...)
	}
}

func blank(wanted bool, n int) []string {
	if !wanted {
		return nil
	}
	return make([]string, n)
}

func unknown(wanted bool, n int) []float64 {
	if !wanted {
		return nil
	}
	out := make([]float64, n)
	for i := range out {
		out[i] = math.NaN()
	}
	return out
}

// AppendSamples is AppendPoints for a measurement of any kind.
func (s *Store) AppendSamples(ctx context.Context, run int64, samples Samples) error {
	doing := fmt.Sprintf("store readings of run %d", run)
	if s.w == nil {
		return s.readOnly(doing)
	}
	if len(samples.Points) == 0 {
		return nil
	}
	pieces, err := pack(samples) // first: a reading that cannot be stored must not leave half of them behind
	if err != nil {
		return fmt.Errorf("%s: %w", doing, err)
	}
	err = s.write(ctx, func(ctx context.Context, tx *sql.Tx) error { return putPieces(ctx, tx, run, pieces) })
	return s.fault(doing, err)
}

// Samples returns a run's readings in the order they were stored, those under a doubt with their angle unknown. If a
// chunk is damaged or missing, the readings of all the others come back together with an error that is ErrDamaged and
// says so.
func (s *Store) Samples(ctx context.Context, run int64) (Samples, error) {
	doing := fmt.Sprintf("readings of run %d", run)
	tx, err := s.r.BeginTx(ctx, &sql.TxOptions{ReadOnly: true}) // one view for all, while the writer goes on
	if err != nil {
		return Samples{}, s.fault(doing, err)
	}
	defer tx.Rollback()
	var has, missing int
	var ended, gone bool
	if err := tx.QueryRowContext(ctx, "SELECT readings, missing, outcome <> '', readings_gone FROM run WHERE id = ?",
		run).
		Scan(&has, &missing, &ended, &gone); err != nil {
		return Samples{}, s.fault(doing, err)
	}
	if gone {
		return Samples{}, fmt.Errorf("%s: %w; its result stays, and a backup of that time has them", doing, ErrGone)
	}
	out := Samples{Points: make([]sweep.Point, 0, min(max(has, 0), 1<<20))} // a damaged count must not ask for the moon
	damage, err := out.read(ctx, tx, run)
	if err != nil {
		return out, s.fault(doing, err)
	}
	doubted, err := s.doubts(ctx, tx, run)
	if err != nil {
		return out, s.fault(doing, err)
	}
	out.Points = sweep.Believed(out.Points, doubted)
	if len(damage) == 0 && ended && len(out.Points) < has-missing {
		damage = append(damage, fmt.Errorf("%w: %d of its %d readings are there", ErrDamaged, len(out.Points),
			has-missing))
	}
	if len(damage) > 0 {
		return out, s.watched(fmt.Errorf("%s: the other %d are good; restore a backup to get the rest: %w", doing,
			len(out.Points), errors.Join(damage...)))
	}
	return out, nil
}

// read reads all that can be read of a run's readings, and gives what was wrong with the rest.
func (s *Samples) read(ctx context.Context, q rowsQuerier, run int64) (damage []error, err error) {
	rows, err := q.QueryContext(ctx,
		"SELECT id, run_id, seq, readings, data FROM chunk WHERE id BETWEEN ?1 << 20 AND (?1 << 20 | 1048575) ORDER BY id", run)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var data sql.RawBytes
	for rows.Next() {
		var id, of, seq int64
		var want int
		if err := rows.Scan(&id, &of, &seq, &want, &data); err != nil {
			damage = append(damage, fmt.Errorf("%w chunk: %w", ErrDamaged, err))
			continue
		}
		part, err := decodeSamples(data)
		if err == nil && (len(part.Points) != want || of<<20|seq != id) {
			err = fmt.Errorf("%w chunk: holds %d readings, want %d, of run %d", ErrDamaged, len(part.Points), want, of)
		}
		if err != nil {
			damage = append(damage, fmt.Errorf("chunk %d: %w", seq, err))
			continue
		}
		s.join(part)
	}
	return damage, rows.Err()
}

// chunksOfRun finds the chunks of the row of run at hand: a chunk's number is the run's, shifted, and its place in it.
const chunksOfRun = "chunk.id BETWEEN run.id << 20 AND (run.id << 20 | 1048575)"

// Points returns what Samples gives, without the columns that only other kinds of measurement have.
func (s *Store) Points(ctx context.Context, run int64) ([]sweep.Point, error) {
	out, err := s.Samples(ctx, run)
	return out.Points, err
}
