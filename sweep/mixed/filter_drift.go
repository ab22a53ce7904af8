package mixed

import "gonum.org/v1/gonum/integrate/quad"

// A fit writes its drift polynomials over the time of its own blocks. Later blocks lie beyond it, where the same
// polynomials grow fast, and the fit at the end of the sweep will write them over the whole. The span of the
// polynomials, and so the model, is the same whatever time they are written over; only the priors of their sizes are
// not. So the columns are changed to those of the time that has passed before each solution.
type respan struct {
	by [drifts][drifts +
		1]float64 // polynomial j over the new time = sum of by[j][k] times polynomial k over the old; k = 0 is 1
	first int    // column of the first polynomial
	group [2]int // columns of the offsets, which add up to 1 in each row

	column []float64 // room
}

// over returns the change of columns from the design's own time to another.
func (d *design) over(t0, half float64) *respan {
	p := &respan{first: d.form}
	p.group[0] = d.form + d.drift + d.extra
	p.group[1] = p.group[0] + d.groups
	var x, w [drifts + 1]float64 // exact for polynomials of twice the degree
	quad.Legendre{}.FixedLocations(x[:], w[:], -1, 1)
	for i, u := range x {
		old := legendre(u)
		for j, v := range legendre((d.t0 + u*d.half - t0) / half) {
			p.by[j][0] += v * w[i] / 2
			for k, q := range old {
				p.by[j][k+1] += v * q * w[i] * float64(2*k+3) / 2
			}
		}
	}
	return p
}

// row changes a row, or what the noise makes of it.
func (p *respan) row(x []float64) {
	one := 0.0
	for _, v := range x[p.group[0]:p.group[1]] {
		one += v
	}
	var now [drifts]float64
	for j := range drifts {
		now[j] = p.by[j][0] * one
		for k := range drifts {
			now[j] += p.by[j][k+1] * x[p.first+k]
		}
	}
	copy(x[p.first:], now[:])
}

// gram changes a matrix of the sums of products of rows.
func (p *respan) gram(g sym) {
	for i := range g.n {
		for j := range i {
			g.a[j*g.n+i] = g.a[i*g.n+j]
		}
	}
	for i := range g.n {
		p.row(g.row(i))
	}
	if len(p.column) != g.n {
		p.column = make([]float64, g.n)
	}
	column := p.column
	for j := range g.n {
		for i := range g.n {
			column[i] = g.a[i*g.n+j]
		}
		p.row(column)
		for i := range g.n {
			g.a[i*g.n+j] = column[i]
		}
	}
}
