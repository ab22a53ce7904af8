package leastsq

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	lapack "gonum.org/v1/gonum/lapack/gonum"
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
	p     int
	n     int
	fill  int       // rows of buf in use, the folded triangle included
	buf   []float64 // rows of p+1: the row of X, then y
	tau   []float64
	work  []float64
	limit int
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
	w := p + 1
	b := &Builder{p: p, limit: w + blockRows}
	b.buf = make([]float64, b.limit*w)
	b.tau = make([]float64, w)
	query := make([]float64, 1)
	geqrf(b.general(b.buf, b.limit), b.tau, query, -1)
	b.work = make([]float64, max(int(query[0]), w))
	return b, nil
}

// Add takes one row. It must hold as many values as the design has columns, all finite.
func (b *Builder) Add(row []float64, y float64) {
	if b.fill == b.limit {
		b.fold()
	}
	dst := b.buf[b.fill*(b.p+1) : (b.fill+1)*(b.p+1)]
	copy(dst, row[:b.p])
	dst[b.p] = y
	b.fill++
	b.n++
}

// Rows says how many rows were taken.
func (b *Builder) Rows() int { return b.n }

func (b *Builder) general(data []float64, rows int) blas64.General {
	w := b.p + 1
	return blas64.General{Rows: rows, Cols: w, Stride: w, Data: data[:rows*w]}
}

// geqrf factorises a into Q and R. It calls gonum's LAPACK by its type: behind lapack64's interface the linker keeps every
// routine there is, half a megabyte that a small computer holds for one of them.
func geqrf(a blas64.General, tau, work []float64, lwork int) {
	lapack.Implementation{}.Dgeqrf(a.Rows, a.Cols, a.Data, a.Stride, tau, work, lwork)
}

// fold turns all rows gathered into the triangle R of [X y], which has the same least squares solutions.
func (b *Builder) fold() {
	w := b.p + 1
	if b.fill < w { // pad with zero rows, which change nothing
		clear(b.buf[b.fill*w : w*w])
		b.fill = w
	}
	geqrf(b.general(b.buf, b.fill), b.tau, b.work, len(b.work))
	for i := range w { // what lies below the diagonal are reflections, no longer needed
		clear(b.buf[i*w : i*w+i])
	}
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
	r, q := b.triangle(keep)
	for j := range q {
		norm := 0.0
		for i := 0; i <= j; i++ {
			norm = math.Hypot(norm, r.Data[i*r.Stride+j])
		}
		if d := math.Abs(r.Data[j*r.Stride+j]); !(d > singular*norm) {
			return Solution{}, ErrSingular
		}
	}
	return solve(r, q, b.n), nil
}

// triangle factorises the kept columns and y again: dropping a column of R leaves it almost triangular.
func (b *Builder) triangle(keep []int) (blas64.General, int) {
	w, q := b.p+1, len(keep)
	r := blas64.General{Rows: w, Cols: q + 1, Stride: q + 1, Data: make([]float64, w*(q+1))}
	for i := range w {
		for j, from := range keep {
			r.Data[i*r.Stride+j] = b.buf[i*w+from]
		}
		r.Data[i*r.Stride+q] = b.buf[i*w+b.p]
	}
	work := make([]float64, 64*(q+1))
	geqrf(r, make([]float64, q+1), work, len(work))
	return r, q
}

func solve(r blas64.General, q, n int) Solution {
	upper := blas64.Triangular{Uplo: blas.Upper, Diag: blas.NonUnit, N: q, Stride: r.Stride, Data: r.Data}
	beta := make([]float64, q)
	for i := range q {
		beta[i] = r.Data[i*r.Stride+q]
	}
	blas64.Trsv(blas.NoTrans, upper, blas64.Vector{N: q, Inc: 1, Data: beta})

	inv := make([][]float64, q) // inv[j] is column j of R^-1
	for j := range q {
		inv[j] = make([]float64, q)
		inv[j][j] = 1
		blas64.Trsv(blas.NoTrans, upper, blas64.Vector{N: q, Inc: 1, Data: inv[j]})
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
	last := r.Data[q*r.Stride+q]
	return Solution{Beta: beta, Cov: cov, RSS: last * last, N: n}
}
