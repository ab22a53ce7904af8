package sweep

import (
	"fmt"

	"tramd/sweep/leastsq"
)

// Plain fits a sweep of any length by weighted least squares in constant memory, through QR. One goroutine at a time.
type Plain struct {
	tally  *tally
	solver *leastsq.Builder
	row    []float64 // tilt, nod, then one offset per indicator
}

// NewPlain makes a Plain for a setup.
func NewPlain(setup Setup) (*Plain, error) {
	t, err := newTally(setup)
	if err != nil {
		return nil, err
	}
	p := 2 + len(setup.Indicators)
	solver, err := leastsq.New(p)
	if err != nil {
		return nil, err
	}
	return &Plain{tally: t, solver: solver, row: make([]float64, p)}, nil
}

// Add takes one reading. One whose angle is not known (NaN) is counted as rejected; anything else that is not a usable
// number is refused and leaves the fit as it was.
func (f *Plain) Add(p Point) error {
	t := f.tally
	known, err := checkPoint(p, len(t.count))
	if err != nil {
		return err
	}
	if !known {
		t.rejected++
		return nil
	}
	z, cos, sin := t.add(p)
	w := t.weight[p.Indicator]
	wr := w * t.setup.Indicators[p.Indicator].RadiusMM
	f.row[0], f.row[1] = wr*cos, wr*sin
	f.row[2+p.Indicator] = w
	f.solver.Add(f.row, w*z)
	f.row[2+p.Indicator] = 0
	return nil
}

// Result fits what was taken so far, or says why it cannot be fitted. More readings may follow.
func (f *Plain) Result() (Result, error) {
	t := f.tally
	seen := t.round()
	g, err := t.geometry(seen)
	if err != nil {
		return Result{}, err
	}
	var keep []int
	if g.x {
		keep = append(keep, 0)
	}
	if g.y {
		keep = append(keep, 1)
	}
	axes := len(keep)
	for i, n := range t.count {
		if n > 0 {
			keep = append(keep, 2+i)
		}
	}
	s, err := f.solver.Solve(keep...)
	if err != nil {
		return Result{}, fmt.Errorf("the readings do not settle the lean: %w", err)
	}
	e := t.emptyEstimate()
	e.rss, e.params = s.RSS, len(keep)
	for a, col := range keep {
		if col >= 2 {
			e.offset[col-2] = s.Beta[a] + t.origin[col-2]
			continue
		}
		e.slope[col] = s.Beta[a]
		for b := range axes {
			e.spread[col][keep[b]] = s.Cov[a][b]
		}
	}
	return t.result(e, g, seen), nil
}
