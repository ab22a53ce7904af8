package leastsq

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// The factorisation stands here and not in gonum's LAPACK: that one keeps every routine of BLAS, complex ones too, in
// the program, 0.8 MB that a small computer holds for years. A test and a benchmark compare the two.

// triangulate turns a, column by column, into the triangle R of its QR factorisation, by Householder's reflections as
// LAPACK's dgeqr2 makes them (Golub and Van Loan, Matrix Computations, 5.2, from memory).
func triangulate(a [][]float64) {
	for k := range a {
		if k+1 >= len(a[k]) {
			return
		}
		v := a[k][k:]
		length := floats.Norm(v, 2)
		if length == 0 {
			continue
		}
		// The reflection is I - factor v v', with v's first element 1.
		diagonal := -math.Copysign(length, v[0])
		first, factor := v[0]-diagonal, (diagonal-v[0])/diagonal
		for i := range v {
			v[i] /= first
		}
		v[0] = 1
		for _, column := range a[k+1:] {
			floats.AddScaled(column[k:], -factor*floats.Dot(v, column[k:]), v)
		}
		clear(v)
		v[0] = diagonal
	}
}

// backSubstitute solves R x = y in place; R is the triangle of r's first columns.
func backSubstitute(r [][]float64, y []float64) {
	for i := len(y) - 1; i >= 0; i-- {
		for j := i + 1; j < len(y); j++ {
			y[i] -= r[j][i] * y[j]
		}
		y[i] /= r[i][i]
	}
}
