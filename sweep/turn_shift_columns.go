package sweep

import (
	"math"
	"slices"
)

// columns are a design whose columns are made orthogonal as they are added.
type columns struct {
	q [][]float64
}

// without takes from x what the columns hold of it, and gives what is left; nil where that is next to nothing.
func (c *columns) without(x []float64) []float64 {
	out := slices.Clone(x)
	before := dot(out, out)
	c.project(out)
	if after := dot(out, out); !(after > 1e-6*before) || before == 0 {
		return nil
	}
	return out
}

// project takes off what the columns hold. Twice is enough against rounding (Kahan, in Parlett: The Symmetric
// Eigenvalue Problem, 6.9; from memory), and once where little is taken off.
func (c *columns) project(x []float64) {
	for range 2 {
		before := dot(x, x)
		for _, q := range c.q {
			s := dot(q, x)
			for i := range x {
				x[i] -= s * q[i]
			}
		}
		if dot(x, x) > before/4 {
			return
		}
	}
}

func (c *columns) add(x []float64) {
	if left := c.without(x); left != nil {
		s := 1 / math.Sqrt(dot(left, left))
		for i := range left {
			left[i] *= s
		}
		c.q = append(c.q, left)
	}
}

func dot(a, b []float64) (s float64) {
	for i := range a {
		s += a[i] * b[i]
	}
	return s
}
