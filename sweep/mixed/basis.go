package mixed

import "math"

// basis is the shape of what is measured: a circle, or a line that is laid on the angles from 0 to a full turn, so that
// a stretch of it is cut, judged and joined as a stretch of a circle is. Its columns come in pairs: first what is
// looked for (cosine and sine of the angle; on a line the place from -1 to 1, and nothing), then the form, by order:
// waves round the circle, Legendre polynomials along the line, which leave its slope alone as the waves leave the lean.
type basis struct{ line bool }

// place is where on a line an angle lies, from -1 to 1.
func place(th float64) float64 { return th/math.Pi - 1 }

// pairs gives the columns at one angle, order by order.
type pairs struct {
	line bool
	c, s float64 // cosine and sine; on a line the place and 0
	a, b float64 // the latest pair of the form
	n    float64 // on a line: order of b
}

func (b basis) at(th float64) pairs {
	if b.line {
		u := place(th)
		return pairs{line: true, c: u, a: 1, b: u, n: 1}
	}
	s, c := math.Sincos(th)
	return pairs{c: c, s: s, a: c, b: s}
}

// next goes to the next pair of the form: cos and sin of twice the angle, of three times it; P2 and P3, P4 and P5.
func (p *pairs) next() (a, b float64) {
	if !p.line {
		p.a, p.b = p.a*p.c-p.b*p.s, p.b*p.c+p.a*p.s
		return p.a, p.b
	}
	for range 2 { // Bonnet's recursion
		p.a, p.b = p.b, ((2*p.n+1)*p.c*p.b-p.n*p.a)/(p.n+1)
		p.n++
	}
	return p.a, p.b
}
