package leastsq

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
)

// The reference is gonum's LAPACK (gonum.org/v1/gonum/lapack): dgeqrf and dtrsv.
func TestTheTriangleIsLAPACKs(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for _, size := range [][2]int{{1, 1}, {2, 2}, {5, 5}, {6, 5}, {40, 4}, {1100, 9}, {70, 65}} {
		for _, scale := range []float64{1, 1e-160, 1e150} { // squares of the last two cannot be held
			m, n := size[0], size[1]
			a, want := matrix(n, m), make([]float64, m*n)
			for i := range m {
				for j := range n {
					a[j][i] = scale * r.NormFloat64() * math.Pow(10, float64(j)/3)
					want[i*n+j] = a[j][i]
				}
			}
			work := make([]float64, 64*n)
			lapack64.Geqrf(blas64.General{Rows: m, Cols: n, Stride: n, Data: want}, make([]float64, min(m, n)),
				work, len(work))
			triangulate(a)
			for i := range m {
				for j := range n {
					w := 0.0
					if i <= j {
						w = want[i*n+j]
					}
					if got := a[j][i]; !(math.Abs(got-w) <= 1e-11*scale*math.Pow(10, float64(j)/3)) {
						t.Fatalf("%d by %d at scale %g: row %d, column %d is %v, LAPACK has %v", m, n, scale,
							i, j, got, w)
					}
				}
			}
		}
	}
}

func TestBackSubstitutionIsBLASs(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	const q = 7
	a, same := matrix(q+1, q+1), make([]float64, q*q)
	for i := range q {
		for j := range q {
			a[j][i] = 2 + r.Float64()
			same[i*q+j] = a[j][i]
		}
	}
	y := []float64{1, -2, 3, -4, 5, -6, 7}
	want := append([]float64(nil), y...)
	blas64.Trsv(blas.NoTrans, blas64.Triangular{Uplo: blas.Upper, Diag: blas.NonUnit, N: q, Stride: q, Data: same},
		blas64.Vector{N: q, Inc: 1, Data: want})
	backSubstitute(a, y)
	for i := range y {
		if !(math.Abs(y[i]-want[i]) <= 1e-12*math.Abs(want[i])) {
			t.Errorf("element %d is %v, BLAS has %v", i, y[i], want[i])
		}
	}
}

// BenchmarkTriangle compares a block's factorisation with LAPACK's.
func BenchmarkTriangle(b *testing.B) {
	const m, n = 1028, 4
	r := rand.New(rand.NewPCG(5, 6))
	from := make([]float64, m*n)
	for i := range from {
		from[i] = r.NormFloat64()
	}
	a, work, tau := make([]float64, m*n), make([]float64, 64*n), make([]float64, n)
	b.Run("ours", func(b *testing.B) {
		cols := matrix(n, m)
		for b.Loop() {
			for j := range cols {
				copy(cols[j], from[j*m:])
			}
			triangulate(cols)
		}
	})
	b.Run("lapack", func(b *testing.B) {
		for b.Loop() {
			copy(a, from)
			lapack64.Geqrf(blas64.General{Rows: m, Cols: n, Stride: n, Data: a}, tau, work, len(work))
		}
	})
}
