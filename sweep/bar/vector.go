package bar

import (
	"math"

	"tramd/sweep"
	"tramd/sweep/uncertainty"
)

// vector is an eccentricity, or a lean, with its covariance.
type vector struct {
	x, y       float64
	xx, xy, yy float64
	dof        float64
}

func sq(x float64) float64 { return x * x }

func (v vector) towards() float64 {
	return math.Mod(sweep.Degrees(sweep.Wrap(math.Atan2(v.y, v.x))), 360)
}

// atNothing is by how much wider than on one axis the interval of a size must be where the vector may be nothing: the
// size of two normal values exceeds 2.45 standard deviations in one case of twenty (Rayleigh), one value 1.96.
const atNothing = 2.4477 / 1.95996

// size is the standard and the expanded uncertainty of the vector's size: along it where it is long, of either way
// where it is short.
func (v vector) size() (u, expanded float64) {
	e2 := v.x*v.x + v.y*v.y
	most := math.Max(v.xx, v.yy)
	along := most
	if e2 > 0 {
		along = (v.x*v.x*v.xx + 2*v.x*v.y*v.xy + v.y*v.y*v.yy) / e2
	}
	if most == 0 {
		return 0, 0
	}
	near := most / (most + e2)
	u = math.Sqrt(along + (most-along)*near)
	widen := math.Sqrt(1 + (atNothing*atNothing-1)*near)
	return u, uncertainty.Factor(confidence, v.dof) * u * widen
}

const confidence = 0.95

// add returns v + f w, the two independent.
func (v vector) add(w vector, f float64) vector {
	out := vector{x: v.x + f*w.x, y: v.y + f*w.y, xx: v.xx + f*f*w.xx, xy: v.xy + f*f*w.xy, yy: v.yy + f*f*w.yy}
	out.dof = welch([]vector{v, w}, []float64{1, f})
	return out
}

func (v vector) times(f float64) vector {
	return vector{v.x * f, v.y * f, v.xx * f * f, v.xy * f * f, v.yy * f * f, v.dof}
}

// welch returns the degrees of freedom of a weighted sum, by the variances of both axes together (JCGM 100:2008, G.2b).
func welch(vs []vector, weights []float64) float64 {
	var b uncertainty.Budget
	for i, v := range vs {
		b = append(b, uncertainty.Component{U: math.Sqrt(v.xx + v.yy), Sensitivity: weights[i], DoF: v.dof})
	}
	return b.DoF()
}
