package leastsq

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
)

// blockRows balances the cost of a fold against cache: 1024 rows of four columns and y are 40 kB.
const blockRows = 1024

// singular is how small a diagonal element of R may be beside its column before the column counts as depending on the
// others. Rounding alone leaves about 1e-15.
const singular = 1e-13

// ErrSingular means that the columns asked for depend on each other.
var ErrSingular = errors.New("the columns of the design depend on each other")

// Builder takes rows of a design and folds them.
type Builder struct {
	p    int
	n    int
	fill int         // rows of cols in use, the folded triangle included
	cols [][]float64 // those of X, then y
}

// Solution is the estimate for the columns asked for.
type Solution struct {
	Beta []float64
	Cov  [][]float64 // (X'X)^-1: multiply by the variance of one reading of weight one
	RSS  float64     // sum of the squared residuals
	N    int         // rows
}

// New makes a Builder for p columns.
func New(p int) (*Builder, error) {
	if p < 1 || p > 64 {
		return nil, fmt.Errorf("a design has 1 to 64 columns, not %d", p)
	}
	return &Builder{p: p, cols: matrix(p+1, p+1+blockRows)}, nil
}

// matrix returns w columns of n rows.
func matrix(w, n int) [][]float64 {
	data, cols := make([]float64, w*n), make([][]float64, w)
	for j := range cols {
		cols[j] = data[j*n : (j+1)*n : (j+1)*n]
	}
	return cols
}

// Add takes one row. It must hold as many values as the design has columns, all finite.
func (b *Builder) Add(row []float64, y float64) {
	if b.fill == len(b.cols[0]) {
		b.fold()
	}
	for j, x := range row[:b.p] {
		b.cols[j][b.fill] = x
	}
	b.cols[b.p][b.fill] = y
	b.fill++
	b.n++
}

// fold turns all rows gathered into the triangle R of [X y], which has the same least squares solutions.
func (b *Builder) fold() {
	w := b.p + 1
	rows := make([][]float64, w)
	for j, c := range b.cols {
		if b.fill < w { // zero rows change nothing
			clear(c[b.fill:w])
		}
		rows[j] = c[:max(b.fill, w)]
	}
	triangulate(rows)
	b.fill = w
}

// Solve estimates the coefficients of the columns named, all of them when none is named, as if the others were not in
// the model. The Builder can go on taking rows.
func (b *Builder) Solve(keep ...int) (Solution, error) {
	if len(keep) == 0 {
		for j := range b.p {
			keep = append(keep, j)
		}
	}
	for _, j := range keep {
		if j < 0 || j >= b.p {
			return Solution{}, fmt.Errorf("column %d of a design of %d", j, b.p)
		}
	}
	if b.n < len(keep) {
		return Solution{}, fmt.Errorf("%d rows cannot settle %d coefficients", b.n, len(keep))
	}
	b.fold()
	r := b.triangle(keep)
	for j := range keep {
		if d := math.Abs(r[j][j]); !(d > singular*floats.Norm(r[j][:j+1], 2)) {
			return Solution{}, ErrSingular
		}
	}
	return solve(r, b.n), nil
}

// triangle returns the triangle of the kept columns and y: dropping a column of R leaves it almost triangular.
func (b *Builder) triangle(keep []int) [][]float64 {
	r := matrix(len(keep)+1, b.p+1)
	for j, from := range keep {
		copy(r[j], b.cols[from])
	}
	copy(r[len(keep)], b.cols[b.p])
	triangulate(r)
	return r
}

// solve takes the triangle of the columns and y.
func solve(r [][]float64, n int) Solution {
	q := len(r) - 1
	beta := append([]float64(nil), r[q][:q]...)
	backSubstitute(r, beta)

	inv := make([][]float64, q) // inv[j] is column j of R^-1
	for j := range q {
		inv[j] = make([]float64, q)
		inv[j][j] = 1
		backSubstitute(r, inv[j])
	}
	cov := make([][]float64, q)
	for i := range q {
		cov[i] = make([]float64, q)
		for j := range q {
			for k := max(i, j); k < q; k++ {
				cov[i][j] += inv[k][i] * inv[k][j]
			}
		}
	}
	last := r[q][q]
	return Solution{Beta: beta, Cov: cov, RSS: last * last, N: n}
}
