// Package leastsq solves linear least squares of any length in constant memory. Rows are gathered in blocks; each block
// is folded into one small triangle by Householder reflections (a QR factorisation by blocks of rows), so the design is
// never squared and never kept. It is pure, and a Builder belongs to one goroutine.
//
// The model is y = X b + e. Rows are weighted by the caller, who multiplies a row and its y by the same weight.
package leastsq
