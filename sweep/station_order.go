package sweep

import (
	"fmt"
	"math"
)

// WarnStationsSwapped is the code of a warning that two stations look as if they had been visited in the other order.
const WarnStationsSwapped = "stations_swapped"

// Limits of the search for swapped stations.
const (
	swapStations = 36   // more are not looked through
	swapGain     = 25.0 // how much better the fit must get
	swapClear    = 4.0  // and how much better than by any other swap
	swapFloor    = 0.0015
)

// SwappedStations looks whether the readings of two stations, each put at the other's angle, fit the lean far better
// than as they are, and than any other two would: then the arm was probably turned to them in the wrong order. It gives
// their angles in degrees.
//
// With the hat matrix H of the fit and R = I - H, readings y leave r = Ry, and swapping i and j changes the sum of
// squares by 2d(r_i - r_j) + d²(R_ii + R_jj - 2R_ij), where d = y_j - y_i (identity).
func SwappedStations(pts []Point, setup Setup) (a, b float64, found bool) {
	angles, y := byStation(pts, len(setup.Indicators))
	n := len(angles)
	dof := float64(n - 3)
	if n < 5 || n > swapStations {
		return 0, 0, false
	}
	r, ok := residualMaker(angles)
	if !ok {
		return 0, 0, false
	}
	floor := 0.0
	for _, ind := range setup.Indicators {
		floor += sq(math.Max(swapFloor, ind.ResolutionMM/math.Sqrt(6))) * dof
	}
	now := 0.0
	left := make([][]float64, len(y))
	for k := range y {
		left[k] = make([]float64, n)
		for i := range n {
			for j := range n {
				left[k][i] += r[i][j] * y[k][j]
			}
			now += sq(left[k][i])
		}
	}
	best, next := math.Inf(1), math.Inf(1)
	for i := range n {
		for j := range i {
			rss := now
			for k := range y {
				d := y[k][j] - y[k][i]
				rss += 2*d*(left[k][i]-left[k][j]) + d*d*(r[i][i]+r[j][j]-2*r[i][j])
			}
			switch {
			case rss < best:
				best, next, a, b = rss, best, angles[j], angles[i]
			case rss < next:
				next = rss
			}
		}
	}
	best, next = math.Max(best, 0)+floor, math.Max(next, 0)+floor
	return Degrees(a), Degrees(b), now > swapGain*best && next > swapClear*best
}

// WarnOrder adds a warning where two stations look swapped.
func (r *Result) WarnOrder(pts []Point, setup Setup) {
	if setup.AngleSource != "stations" && setup.AngleSource != "typed" {
		return
	}
	if a, b, ok := SwappedStations(pts, setup); ok {
		r.Warnings = append(r.Warnings, Warning{Code: WarnStationsSwapped, Text: fmt.Sprintf(
			"the readings at %.0f and %.0f degrees fit much better at each other's place: were they taken in the wrong order? Take both again", a, b)})
	}
}

// byStation sorts readings of known angle into stations: y by indicator and station, in the order of their first
// reading. Stations that not every indicator was read at are left out.
func byStation(pts []Point, indicators int) (angles []float64, y [][]float64) {
	at := map[float64][]float64{}
	var order []float64
	for _, p := range pts {
		if !p.Finite() || p.Indicator < 0 || p.Indicator >= indicators {
			continue
		}
		z, ok := at[p.Angle]
		if !ok {
			if len(order) > swapStations {
				return nil, nil
			}
			z = make([]float64, indicators)
			for i := range z {
				z[i] = math.NaN()
			}
			at[p.Angle] = z
			order = append(order, p.Angle)
		}
		z[p.Indicator] = p.Reading
	}
	y = make([][]float64, indicators)
	for _, angle := range order {
		whole := true
		for _, z := range at[angle] {
			whole = whole && !math.IsNaN(z)
		}
		if !whole {
			continue
		}
		angles = append(angles, angle)
		for k := range y {
			y[k] = append(y[k], at[angle][k])
		}
	}
	return angles, y
}

// residualMaker returns I - X(X'X)^-1 X' for the columns 1, cos, sin, made orthonormal one after the other
// (Gram-Schmidt). It fails where the angles cannot tell them apart.
func residualMaker(angles []float64) (r [][]float64, ok bool) {
	n := len(angles)
	cols := [3][]float64{}
	for c := range cols {
		cols[c] = make([]float64, n)
		for i, a := range angles {
			cols[c][i] = [3]float64{1, math.Cos(a), math.Sin(a)}[c]
		}
		for range 2 { // twice is enough
			for _, q := range cols[:c] {
				dot := 0.0
				for i := range q {
					dot += q[i] * cols[c][i]
				}
				for i := range q {
					cols[c][i] -= dot * q[i]
				}
			}
		}
		norm := 0.0
		for _, v := range cols[c] {
			norm += v * v
		}
		if norm < 1e-6 {
			return nil, false
		}
		for i := range cols[c] {
			cols[c][i] /= math.Sqrt(norm)
		}
	}
	r = make([][]float64, n)
	for i := range r {
		r[i] = make([]float64, n)
		r[i][i] = 1
		for j := range n {
			for _, q := range cols {
				r[i][j] -= q[i] * q[j]
			}
		}
	}
	return r, true
}
