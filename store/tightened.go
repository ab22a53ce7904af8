package store

import (
	"context"
	"database/sql"
	"fmt"
	"math"
)

// Tightened is what a parked arm read before and after its adjuster was tightened, mm.
type Tightened struct {
	LooseMM float64 `json:"loose_mm"`
	TightMM float64 `json:"tight_mm"`
}

// farthestMM is more than any indicator travels.
const farthestMM = 1000

func (t *Tightened) columns() (loose, tight sql.NullInt64, err error) {
	if t == nil {
		return loose, tight, nil
	}
	if !(math.Abs(t.LooseMM) <= farthestMM) || !(math.Abs(t.TightMM) <= farthestMM) {
		return loose, tight, fmt.Errorf("%w: readings of %v and %v mm are no readings", ErrEvent, t.LooseMM, t.TightMM)
	}
	nm := func(mm float64) sql.NullInt64 { return sql.NullInt64{Int64: int64(math.Round(mm * 1e6)), Valid: true} }
	return nm(t.LooseMM), nm(t.TightMM), nil
}

// Tightenings returns what the last tightenings did, at most limit, the last one first.
func (s *Store) Tightenings(ctx context.Context, limit int) ([]Tightened, error) {
	const doing = "list tightenings"
	rows, err := s.r.QueryContext(ctx,
		"SELECT loose_nm, tight_nm FROM event WHERE loose_nm IS NOT NULL AND undone_us IS NULL ORDER BY id DESC LIMIT ?", min(max(limit, 0), maxPage))
	if err != nil {
		return nil, s.fault(doing, err)
	}
	defer rows.Close()
	var out []Tightened
	for rows.Next() {
		var loose, tight int64
		if err := rows.Scan(&loose, &tight); err != nil {
			return nil, s.fault(doing, err)
		}
		out = append(out, Tightened{float64(loose) * 1e-6, float64(tight) * 1e-6})
	}
	return out, s.fault(doing, rows.Err())
}
