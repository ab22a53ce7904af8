package sweep

import (
	"fmt"
	"math"
	"slices"
)

// An encoder without an index mark that loses counts between two turns shows the second like the first, turned by as
// much. Of two turns the surface, the lean and the form are the same; what differs is noise, warming, a knock, and
// that. So one turn of all readings since some moment is held against what else could have changed since then by
// chance: the size of the lean's wave, and the second and third harmonic. Only a turning far above all of those is
// taken for lost counts.

// TurnShift is a turning of the angles, from some moment on, that the readings show.
type TurnShift struct {
	Turn  int     // it came in the course of this turn, the first is 1
	FromS float64 // the latest time up to which the angles are borne out by the readings
	Rad   float64 // by which the angle is shown too far since then; negative: not far enough
}

const (
	shiftLeast      = 0.02 // radians: less is not worth a doubt
	shiftEnds       = 0.35 // turns that must lie before the moment, and after it
	shiftTurns      = 1.5  // a sweep of less does not show it
	shiftOverNoise  = 30.0 // times the largest change of another kind, squared (from simulation; see turn_shift_test.go)
	repeatOverNoise = 4.0  // times likewise, below which the turns agree
	repeatOverRest  = 15.0
	shiftOverRest   = 60.0 // times the mean square of what is left (likewise)
	shiftCells      = 72   // of a turn, at most
	shiftKnocks     = 1    // that may be an explanation too
	shiftRounds     = 8
	shiftEach       = 3  // of the moments at first
	shiftMoments    = 60 // that are tried
	shiftHarmonics  = 8
)

// shiftFit is the model of a sweep in which the angle may be turned from a moment on.
type shiftFit struct {
	cells  []shiftCell
	th     []float64 // as taken, the turning undone
	from   int       // the cell since which it is; negative: none
	base   columns
	rest   []float64 // what base leaves of the readings
	wave   []float64 // of the first harmonic
	rise   []float64 // derivative of all harmonics by angle
	orders int
}

func (f *shiftFit) column(of func(i int) float64) []float64 {
	x := make([]float64, len(f.cells))
	for i := range x {
		x[i] = of(i)
	}
	return x
}

// solve fits what every sweep has: the lean and the form, warming, what depends on the way round and on the speed, and
// a knock where the angles were turned.
func (f *shiftFit) solve() {
	n := len(f.cells)
	z := f.column(func(i int) float64 { return f.cells[i].z - f.cells[0].z })
	f.rise = nil
	for range 2 {
		f.base = columns{}
		first, last := f.cells[0].ts, f.cells[n-1].ts
		at := func(i int) float64 { return 2*(f.cells[i].ts-first)/math.Max(last-first, 1e-9) - 1 }
		f.base.add(f.column(func(int) float64 { return 1 }))
		for k := 1; k <= 3; k++ {
			f.base.add(f.column(func(i int) float64 { return math.Pow(at(i), float64(k)) }))
		}
		if f.from >= 0 {
			f.base.add(f.since(f.from, nil))
			for _, x := range f.beside(f.from) {
				f.base.add(x)
			}
		}
		f.base.add(f.column(func(i int) float64 { return f.cells[i].dir }))
		if f.rise != nil {
			steep := math.Sqrt(dot(f.rise, f.rise)/float64(n)) + 1e-12
			f.base.add(f.column(func(i int) float64 { return f.cells[i].dir * f.rise[i] }))
			f.base.add(f.column(func(i int) float64 {
				return f.cells[i].dir * math.Tanh(8*f.cells[i].dir*f.rise[i]/steep)
			}))
			mean := 0.0
			for _, c := range f.cells {
				mean += c.rate / float64(n)
			}
			f.base.add(f.column(func(i int) float64 { return (f.cells[i].rate - mean) * f.rise[i] }))
		}
		// The harmonics come last, so that their coefficients can be read off a triangle.
		plain := len(f.base.q)
		var harmonics [][]float64
		for m := 1; m <= f.orders; m++ {
			harmonics = append(harmonics,
				f.column(func(i int) float64 { return math.Cos(float64(m) * f.th[i]) }),
				f.column(func(i int) float64 { return math.Sin(float64(m) * f.th[i]) }))
		}
		var tri [][]float64
		used := []int{}
		for k, h := range harmonics {
			had := len(f.base.q)
			f.base.add(h)
			if len(f.base.q) > had {
				row := make([]float64, 0, len(f.base.q)-plain)
				for _, q := range f.base.q[plain:] {
					row = append(row, dot(q, h))
				}
				tri, used = append(tri, row), append(used, k)
			}
		}
		coef := make([]float64, 2*f.orders)
		right := make([]float64, len(tri))
		for j := range right {
			right[j] = dot(f.base.q[plain+j], z)
		}
		for j := len(tri) - 1; j >= 0; j-- {
			c := right[j] / tri[j][j]
			coef[used[j]] = c
			for k := range j {
				right[k] -= c * tri[j][k]
			}
		}
		f.wave = f.column(func(i int) float64 { return coef[0]*math.Cos(f.th[i]) + coef[1]*math.Sin(f.th[i]) })
		f.rise = f.column(func(i int) (s float64) {
			for m := 1; m <= f.orders; m++ {
				sin, cos := math.Sincos(float64(m) * f.th[i])
				s += float64(m) * (coef[2*m-1]*cos - coef[2*m-2]*sin)
			}
			return s
		})
	}
	f.rest = z
	f.base.project(f.rest)
}

// beside are columns that leave out the two cells on either side of a moment, one of which it lies in.
func (f *shiftFit) beside(from int) (out [][]float64) {
	for k := max(0, from-1); k <= from; k++ {
		x := make([]float64, len(f.cells))
		x[k] = 1
		out = append(out, x)
	}
	return out
}

// since is a column that begins at a cell; nil stands for ones.
func (f *shiftFit) since(from int, x []float64) []float64 {
	return f.column(func(i int) float64 {
		switch {
		case i < from:
			return 0
		case x == nil:
			return 1
		}
		return x[i]
	})
}

// gain is by how much the sum of squares falls with one more column, beside a step at the same moment, and its
// coefficient; of several columns, that of the best.
func (f *shiftFit) gain(from int, xs ...[]float64) (square, coef float64) {
	c := columns{q: f.base.q[:len(f.base.q):len(f.base.q)]}
	c.add(f.since(from, nil))
	for _, x := range xs {
		if left := c.without(f.since(from, x)); left != nil {
			size := dot(left, left)
			if by := dot(left, f.rest); by*by/size > square {
				square, coef = by*by/size, by/size
			}
		}
	}
	return square, coef
}

// turn fits the sweep with the angles turned since a cell; a negative one is for none. The cells on both sides of the
// moment are left out, since it lies in one of them.
func (f *shiftFit) turn(from int, by float64) {
	for i := range f.th {
		f.th[i] = f.cells[i].th
		if from >= 0 && i >= from {
			f.th[i] += by
		}
	}
	f.from = from
	f.solve()
}

// settle finds by how much the angles are turned since a cell. The turning bends the surface that it is found by, so it
// is found by and by.
func (f *shiftFit) settle(from int, by float64, rounds int) float64 {
	f.turn(from, by)
	for range rounds {
		_, more := f.gain(from, f.rise)
		by += math.Max(-0.5, math.Min(0.5, more))
		f.turn(from, by)
		if math.Abs(more) < 1e-3 {
			break
		}
	}
	return by
}

// moment looks near a cell for where the turning began.
func (f *shiftFit) moment(near int, by float64, wide int) int {
	best, at := math.Inf(1), near
	for m := max(2, near-wide); m <= min(len(f.cells)-2, near+wide); m++ {
		f.turn(m, by)
		if left := dot(f.rest, f.rest); left < best {
			best, at = left, m
		}
	}
	f.turn(at, by)
	return at
}

// knocked is the sum of squares that knocks would leave.
func (f *shiftFit) knocked(knocks int) float64 {
	base := columns{q: f.base.q[:len(f.base.q):len(f.base.q)]}
	rest := slices.Clone(f.rest)
	for range knocks {
		var knock []float64
		best, at := 0.0, 0
		for m := 2; m < len(f.cells)-1; m++ {
			if left := base.without(f.since(m, nil)); left != nil {
				if by := dot(left, rest); by*by/dot(left, left) > best {
					knock, best, at = left, by*by/dot(left, left), m
				}
			}
		}
		if knock != nil {
			base.add(knock)
			for _, x := range f.beside(at) {
				base.add(x)
			}
			base.project(rest)
		}
	}
	return dot(rest, rest)
}

// way is how far the arm had gone at each cell, in turns.
func (f *shiftFit) way() []float64 {
	way := make([]float64, len(f.cells))
	for i := 1; i < len(way); i++ {
		way[i] = way[i-1] + math.Abs(f.cells[i].th-f.cells[i-1].th)/(2*math.Pi)
	}
	return way
}

// moments are the cells at which a change is tried.
func (f *shiftFit) moments() (out []int) {
	way := f.way()
	all := way[len(way)-1]
	each := all / shiftMoments
	next := shiftEnds
	for i, w := range way {
		if w >= next && w <= all-shiftEnds {
			out = append(out, i)
			next = w + each
		}
	}
	return out
}

// newShiftFit takes a sweep; ok is false where it cannot show a shift.
func newShiftFit(pts []Point, setup Setup) (f *shiftFit, ok bool) {
	switch setup.AngleSource {
	case "", "encoder":
	default:
		return nil, false
	}
	cells, turns := turnsOf(pts, setup)
	if turns < shiftTurns {
		return nil, false
	}
	f = &shiftFit{cells: cells, from: -1, orders: min(shiftHarmonics, int(float64(len(cells))/turns/4))}
	if f.orders < 2 || len(cells) < 2*f.orders+24 {
		return nil, false
	}
	f.th = f.column(func(i int) float64 { return cells[i].th })
	f.solve()
	return f, true
}

// FindTurnShift looks for counts that were lost between two turns. It says nothing of a sweep of less than a turn and a
// half, nor of what is lost within the first or the last third of a turn.
//
// repeat is by how much, in radians, the angle may differ from turn to turn where that stands out of the noise, but not
// so far that counts were surely lost; 0 otherwise.
func FindTurnShift(pts []Point, setup Setup) (s TurnShift, found bool, repeat float64) {
	f, ok := newShiftFit(pts, setup)
	if !ok {
		return s, false, 0
	}
	moments := f.moments()
	n := float64(len(f.cells))
	before := dot(f.rest, f.rest)
	best := 0.0
	for _, m := range moments {
		gain, _ := f.gain(m, f.rise)
		best = math.Max(best, gain)
	}
	if best < repeatOverRest*before/n { // most sweeps end here
		return s, false, 0
	}
	knocked := f.knocked(shiftKnocks)
	from, total, after := -1, 0.0, math.Inf(1)
	for i := 0; i < len(moments); i += shiftEach {
		for _, start := range [3]float64{0, -0.4, 0.4} {
			// radians: what is lost bends the surface that it is measured by
			by := f.settle(moments[i], start, 3)
			if left := dot(f.rest, f.rest); left < after {
				from, total, after = moments[i], by, left
			}
		}
	}
	for range shiftRounds {
		was, by := from, total
		from = f.moment(from, total, max(3, shiftEach*len(f.cells)/shiftMoments))
		total = f.settle(from, total, 4)
		if from == was && math.Abs(total-by) < 1e-3 {
			break
		}
	}
	after = dot(f.rest, f.rest)
	won, chance := math.Min(before, knocked)-after, f.chance(moments)
	over := after / (n - float64(len(f.base.q)) - 1)
	switch {
	case math.Abs(total) > math.Pi || won < repeatOverRest*over || won < repeatOverNoise*chance:
		return s, false, 0
	case math.Abs(total) < shiftLeast || won < shiftOverRest*over || won < shiftOverNoise*chance:
		return s, false, math.Abs(total)
	}
	// They may have been lost by and by, and where the surface is flat an earlier moment does nearly as well.
	first := from
	for f.turn(first, total); first > 2 && dot(f.rest, f.rest) < after+math.Max(4*chance, 0.1*won); f.turn(
		first, total) {
		first--
	}
	s = TurnShift{Rad: -total, FromS: f.cells[max(0, first-1)].t0}
	s.Turn = 1 + int(math.Abs(f.cells[from-1].th-f.cells[0].th)/(2*math.Pi))
	return s, true, math.Abs(total)
}

// kinds are changes that lost counts do not make.
func (f *shiftFit) kinds() [][]float64 {
	out := [][]float64{f.wave}
	for m := 2.0; m <= 3; m++ {
		out = append(out, f.column(func(i int) float64 { return math.Cos(m * f.th[i]) }),
			f.column(func(i int) float64 { return math.Sin(m * f.th[i]) }))
	}
	return out
}

// chance is the largest change of another kind, in what is left: of the size of the lean's wave, or of the second or
// third harmonic, from any moment on.
func (f *shiftFit) chance(moments []int) (most float64) {
	kinds := f.kinds()
	for _, m := range moments {
		square, _ := f.gain(m, kinds...)
		most = math.Max(most, square)
	}
	return math.Max(most, dot(f.rest, f.rest)-f.knocked(1))
}

// Doubt puts the shift as what is to be kept with the run.
func (s TurnShift) Doubt(toS float64) Doubt {
	return Doubt{Code: DoubtTurnsDiffer, FromS: s.FromS, ToS: toS, Text: s.text() +
		"; readings since then have no certain angle"}
}

func (s TurnShift) text() string {
	return fmt.Sprintf(
		"the readings since turn %d lie like those before, turned by about %.3g degrees: counts were probably lost between turn %d and %d, or the arm slipped; check the encoder's coupling, cable and supply",
		s.Turn, Degrees(math.Abs(s.Rad)), s.Turn, s.Turn+1)
}

// Warning puts the shift as what a result has to say of it.
func (s TurnShift) Warning() Warning { return Warning{Code: DoubtTurnsDiffer, Text: s.text()} }
