package sweep

import (
	"fmt"
	"math"
)

// Limits of what can be fitted.
const (
	distinctDeg = 2.0 // readings nearer than this count as one angle
	// minSpread is the smallest eigenvalue of the design, 1 for a full circle, that still shows both axes. At 0.04 the
	// uncertainty is five times that of a full circle with as many readings, which is an arc of 117 degrees.
	minSpread   = 0.04
	pairSpread  = 1.2  // two opposite stations have 2 along their line and nothing across it
	oppositeDeg = 6.0  // how far from 180 degrees apart two opposite stations may be
	alongDeg    = 3.0  // how far from X or Y their line may lie
	leakShown   = 0.01 // share of the axis not measured that is worth a word
)

// geometry is what the angles alone allow, each degree of the circle that was seen counting once: how long the hand
// rested at a place must not decide what can be fitted.
type geometry struct {
	x, y  bool       // tilt, nod can be fitted
	widen [2]float64 // how much worse than on a full circle each is; at least 1
	leak  float64    // share of the axis not measured that shows in the one measured
}

func (t *tally) geometry(seen round) (geometry, error) {
	if t.readings == 0 {
		if t.rejected > 0 {
			return geometry{}, fmt.Errorf("nothing to fit: none of the %d readings has a known spindle angle",
				t.rejected)
		}
		return geometry{}, fmt.Errorf("nothing to fit: there are no readings")
	}
	if seen.distinct < 2 {
		return geometry{}, fmt.Errorf(
			"all readings are at one spindle angle: turn the arm and read at three angles at least, well spread")
	}
	sxx, sxy, syy := t.scatter()
	mean, half := (sxx+syy)/2, math.Hypot((sxx-syy)/2, sxy)
	small, large := mean-half, mean+half
	switch {
	case small >= minSpread:
		det := sxx*syy - sxy*sxy
		return geometry{x: true, y: true, widen: [2]float64{
			math.Sqrt(max(1, syy/det)), math.Sqrt(max(1, sxx/det)),
		}}, nil
	case large >= pairSpread:
		return t.pair(math.Atan2(2*sxy, sxx-syy) / 2)
	case seen.distinct < 3:
		return geometry{}, fmt.Errorf(
			"only two distinct angles, and not opposite: read at 180 degrees from the first, or at three angles at least")
	}
	return geometry{},
		fmt.Errorf("the arc is too small: %.0f degrees of the circle were seen, and tilt and nod would be %.0f times "+
			"less certain than from a full circle; sweep 120 degrees at least, better all round",
			Degrees(seen.coverage),
			1/math.Sqrt(max(small, 1e-6)))
}

// pair judges two opposite stations whose line has the given direction.
func (t *tally) pair(along float64) (geometry, error) {
	if apart := t.apart(along); apart < 180-oppositeDeg {
		return geometry{}, fmt.Errorf(
			"only two distinct angles, %.0f degrees apart: put them opposite each other, or read at three angles at least", apart)
	}
	offX := math.Abs(Degrees(math.Atan(math.Tan(along)))) // a line has no sense: -90..90
	offY := 90 - offX
	switch {
	case offX <= alongDeg:
		return geometry{x: true, widen: [2]float64{1, 1}, leak: math.Tan(Radians(offX))}, nil
	case offY <= alongDeg:
		return geometry{y: true, widen: [2]float64{1, 1}, leak: math.Tan(Radians(offY))}, nil
	}
	return geometry{},
		fmt.Errorf(
			"two opposite stations at %.0f and %.0f degrees show neither axis alone: put them at 0 and 180 for tilt "+
				"or at 90 and 270 for nod, or read at three angles at least", Degrees(Wrap(along)),
			Degrees(Wrap(along+math.Pi)))
}

// scatter is the design left once each indicator's own offset is taken out: the identity for a full circle.
func (t *tally) scatter() (sxx, sxy, syy float64) {
	total := 0.0
	for i := range t.bins {
		var n, sx, sy, xx, xy, yy float64
		for k := range t.bins[i] {
			b := &t.bins[i][k]
			if b.n == 0 {
				continue
			}
			x, y := b.cos/b.n, b.sin/b.n
			n++
			sx, sy = sx+x, sy+y
			xx, xy, yy = xx+x*x, xy+x*y, yy+y*y
		}
		if n > 0 {
			total += n
			sxx += xx - sx*sx/n
			sxy += xy - sx*sy/n
			syy += yy - sy*sy/n
		}
	}
	return 2 * sxx / total, 2 * sxy / total, 2 * syy / total
}

// apart is the angle in degrees between the mean directions of the two ends of a line.
func (t *tally) apart(along float64) float64 {
	ax, ay := math.Cos(along), math.Sin(along)
	var px, py, qx, qy float64
	for i := range t.bins {
		for k := range t.bins[i] {
			b := &t.bins[i][k]
			if b.n == 0 {
				continue
			}
			x, y := b.cos/b.n, b.sin/b.n
			if x*ax+y*ay >= 0 {
				px, py = px+x, py+y
			} else {
				qx, qy = qx+x, qy+y
			}
		}
	}
	return Degrees(math.Abs(math.Atan2(px*qy-py*qx, px*qx+py*qy)))
}

// distinct counts the angles that are well apart, for the indicator that saw most of them.
func (t *tally) distinct() int {
	most := 0
	for i := range t.bins {
		most = max(most, distinctIn(&t.bins[i]))
	}
	return most
}

func distinctIn(bins *[binCount]sums) int {
	first, last, n := math.NaN(), 0.0, 0
	for k := range bins {
		b := &bins[k]
		if b.n == 0 {
			continue
		}
		deg := b.deg(k)
		switch {
		case n == 0:
			first, last, n = deg, deg, 1
		case deg-last > distinctDeg:
			last = deg
			n++
		}
	}
	if n > 1 && first+360-last <= distinctDeg { // 359.5 and 0.5 are one
		n--
	}
	return n
}
