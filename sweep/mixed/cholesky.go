package mixed

import "math"

// sym is a dense symmetric matrix; only the lower triangle is used.
type sym struct {
	n int
	a []float64
}

func newSym(n int) sym { return sym{n, make([]float64, n*n)} }

func (s sym) row(i int) []float64 { return s.a[i*s.n : i*s.n+s.n] }

// rank1 adds w * x xᵀ.
func (s sym) rank1(x []float64, w float64) {
	for i, xi := range x {
		if xi == 0 {
			continue
		}
		f := w * xi
		r := s.row(i)[:i+1]
		for j, xj := range x[:i+1] {
			r[j] += f * xj
		}
	}
}

// rank4 adds x xᵀ for four vectors that lie one behind the other in xs: a row of s is fetched once and not four times.
func (s sym) rank4(xs []float64) {
	n := s.n
	a, b, c, d := xs[:n], xs[n:2*n], xs[2*n:3*n], xs[3*n:4*n]
	for i := range n {
		fa, fb, fc, fd := a[i], b[i], c[i], d[i]
		if fa == 0 && fb == 0 && fc == 0 && fd == 0 {
			continue
		}
		r := s.row(i)[:i+1]
		a, b, c, d := a[:len(r)], b[:len(r)], c[:len(r)], d[:len(r)]
		for j := range r {
			r[j] += fa*a[j] + fb*b[j] + fc*c[j] + fd*d[j]
		}
	}
}

// cholesky replaces s by its lower factor L, s = L Lᵀ. A pivot lost to rounding is set to a tiny number, which leaves
// that direction unknown rather than failing; it returns how many there were.
func (s sym) cholesky() (lost int) {
	for i := 0; i < s.n; i++ {
		r := s.row(i)[:i]
		s.forward(r)
		diag := s.row(i)[i]
		left := diag
		for _, v := range r {
			left -= v * v
		}
		if !(left > 1e-13*diag) || !(left > 1e-300) {
			lost++
			left = math.Max(1e-13*diag, 1e-300)
		}
		s.row(i)[i] = math.Sqrt(left)
	}
	return lost
}

// logDiagonal is the sum of the logarithms of the first n numbers on the diagonal.
func (s sym) logDiagonal(n int) (sum float64) {
	const most = 1e150 // two such numbers can still be multiplied
	product := 1.0
	for i := range n {
		product *= s.row(i)[i]
		if product > most || product < 1/most {
			sum, product = sum+math.Log(product), 1
		}
	}
	return sum + math.Log(product)
}

// solve replaces b by the solution of L Lᵀ x = b; s must hold L.
func (s sym) solve(b []float64) {
	s.forward(b)
	s.backward(b)
}

// forward replaces b by the solution of L x = b. It takes four rows at a time: their sums do not wait for each other,
// and b is read once and not four times.
func (s sym) forward(b []float64) {
	i := 0
	for ; i+4 <= len(b); i += 4 {
		x := b[:i]
		p, q, r, t := s.row(i), s.row(i+1), s.row(i+2), s.row(i+3)
		v, w, y, z := b[i], b[i+1], b[i+2], b[i+3]
		{
			p, q, r, t := p[:len(x)], q[:len(x)], r[:len(x)], t[:len(x)]
			for k, xk := range x {
				v -= p[k] * xk
				w -= q[k] * xk
				y -= r[k] * xk
				z -= t[k] * xk
			}
		}
		v /= p[i]
		w = (w - q[i]*v) / q[i+1]
		y = (y - r[i]*v - r[i+1]*w) / r[i+2]
		z = (z - t[i]*v - t[i+1]*w - t[i+2]*y) / t[i+3]
		b[i], b[i+1], b[i+2], b[i+3] = v, w, y, z
	}
	for ; i < len(b); i++ {
		r := s.row(i)
		for k, v := range r[:i] {
			b[i] -= v * b[k]
		}
		b[i] /= r[i]
	}
}

// backward replaces b by the solution of Lᵀ x = b.
func (s sym) backward(b []float64) {
	for i := len(b) - 1; i >= 0; i-- {
		for k := i + 1; k < len(b); k++ {
			b[i] -= s.row(k)[i] * b[k]
		}
		b[i] /= s.row(i)[i]
	}
}
