package advice

import "math"

// The standard normal distribution and its density, tabulated: a choice of a move asks for them some millions of times.
// Linear between entries 1/256 apart, so wrong by at most 1/256^2/8 times the largest curvature, 0.25 and 0.4: below
// 8e-7.
const (
	tableReach = 8
	tableFine  = 256
	tableSize  = 2*tableReach*tableFine + 2
)

var phiTable, densityTable = tabulate()

func tabulate() (p, d *[tableSize]float64) {
	p, d = new([tableSize]float64), new([tableSize]float64)
	for i := range tableSize {
		x := float64(i)/tableFine - tableReach
		p[i] = 0.5 * math.Erfc(-x/math.Sqrt2)
		d[i] = math.Exp(-x*x/2) / math.Sqrt(2*math.Pi)
	}
	return p, d
}

func phi(x float64) float64 {
	switch {
	case x >= tableReach:
		return 1
	case !(x > -tableReach):
		return 0
	}
	return lookUp(phiTable, x)
}

func density(x float64) float64 {
	if !(x > -tableReach && x < tableReach) {
		return 0
	}
	return lookUp(densityTable, x)
}

func lookUp(table *[tableSize]float64, x float64) float64 {
	at := (x + tableReach) * tableFine
	i := int(at)
	f := at - float64(i)
	return table[i] + f*(table[i+1]-table[i])
}
