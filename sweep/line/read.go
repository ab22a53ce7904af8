package line

import (
	"fmt"
	"math"

	"tramd/sweep"
)

// Columns of recorded measurements along a line.
var (
	time     = sweep.Column{Name: "t_s", Required: true, Say: "a time in seconds such as 12.345"}
	position = sweep.Column{Name: "position_mm", Required: true, Say: "a position in mm such as 120.5"}
	reading  = sweep.Column{Name: "reading_mm", Required: true,
		Say: "a reading in mm such as -0.012, or take the row out"}
	across    = sweep.Column{Name: "line_mm", Say: "where the line lies across, in mm"}
	indicator = sweep.Column{Name: "indicator", Words: []string{}, Say: "the name of an indicator, 16 names at most"}
	edge      = sweep.Column{Name: "edge", Words: []string{"as_laid", "turned"}, Say: "as_laid or turned"}
	side      = sweep.Column{Name: "side_deg", Say: "the side in degrees: 0 towards +X, 90 towards +Y"}
	turned    = sweep.Column{Name: "turned_deg", Say: "0 or 180"}

	// TraverseColumns are those of a traverse, TravelColumns those of a bar, a square or a table while something moves.
	TraverseColumns = []sweep.Column{time, position, reading, across, indicator, edge}
	TravelColumns   = []sweep.Column{time, position, reading, required(side), turned, indicator}
)

func required(c sweep.Column) sweep.Column {
	c.Required = true
	return c
}

// Run is the readings of one curve with what was the same for all of them.
type Run struct {
	T, X, Z      []float64
	LineMM, Side float64 // mm; degrees
	Turned       bool    // the edge end for end, or the bar or square by 180 degrees
	Indicator    int
}

// Readings is a recorded measurement, curve by curve in the order in which they began.
type Readings struct {
	Runs       []Run
	Rows       int
	Indicators []string
}

const (
	maxReadingMM  = 10_000
	maxPositionMM = 1e6
	maxCurves     = 400 // lines, sides and turns of one measurement
)

// key is what parts readings into curves.
type key struct {
	line, side float64
	turned     bool
	indicator  int
}

// Split parts a table into its curves. A curve that was read on end stands on the table's own numbers.
func Split(t *sweep.Table) (*Readings, error) {
	out := &Readings{Rows: t.Rows, Indicators: t.Names[indicator.Name]}
	times, positions, readings := t.Numbers[time.Name], t.Numbers[position.Name], t.Numbers[reading.Name]
	for i := range t.Rows {
		if math.Abs(readings[i]) > maxReadingMM {
			return nil, fmt.Errorf("reading %d: %v mm is not one an indicator can show: take the row out", i+1,
				readings[i])
		}
		if math.Abs(positions[i]) > maxPositionMM {
			return nil, fmt.Errorf("reading %d: position %v mm is longer than a kilometre: give it in mm", i+1,
				positions[i])
		}
	}
	at, parts := map[key]int{}, partingOf(t)
	for lo := 0; lo < t.Rows; {
		hi := parts.end(lo, t.Rows)
		k, err := keyOf(t, lo)
		if err != nil {
			return nil, err
		}
		n, ok := at[k]
		if !ok {
			if n = len(out.Runs); n == maxCurves {
				return nil, fmt.Errorf(
					"reading %d begins line number %d: %d lines, sides and turns are the most of one measurement; is the column right?", lo+1, n+1, maxCurves)
			}
			at[k] = n
			out.Runs = append(out.Runs, Run{
				T: times[lo:hi:hi], X: positions[lo:hi:hi], Z: readings[lo:hi:hi],
				LineMM: k.line, Side: k.side, Turned: k.turned, Indicator: k.indicator,
			})
		} else {
			r := &out.Runs[n]
			r.T, r.X, r.Z = append(r.T, times[lo:hi]...), append(r.X, positions[lo:hi]...),
				append(r.Z, readings[lo:hi]...)
		}
		lo = hi
	}
	return out, nil
}

// parting is the columns that part readings into curves.
type parting struct {
	numbers [][]float64
	words   [][]int
}

func partingOf(t *sweep.Table) (p parting) {
	for _, c := range []sweep.Column{across, side, turned} {
		if v := t.Numbers[c.Name]; v != nil {
			p.numbers = append(p.numbers, v)
		}
	}
	for _, c := range []sweep.Column{indicator, edge} {
		if w := t.Words[c.Name]; w != nil {
			p.words = append(p.words, w)
		}
	}
	return p
}

// end returns the first row after a row that differs from it.
func (p *parting) end(lo, rows int) int {
	if len(p.numbers)+len(p.words) == 0 {
		return rows
	}
	for i := lo + 1; i < rows; i++ {
		for _, v := range p.numbers {
			if v[i] != v[lo] {
				return i
			}
		}
		for _, w := range p.words {
			if w[i] != w[lo] {
				return i
			}
		}
	}
	return rows
}

func keyOf(t *sweep.Table, i int) (k key, err error) {
	k.line = t.Number(across.Name, i, 0)
	k.side = math.Mod(math.Mod(t.Number(side.Name, i, 0), 360)+360, 360)
	if c := t.Words[indicator.Name]; c != nil {
		k.indicator = c[i]
	}
	if c := t.Words[edge.Name]; c != nil {
		k.turned = c[i] == 1
	}
	switch v := t.Number(turned.Name, i, 0); math.Mod(math.Mod(v, 360)+360, 360) {
	case 0:
	case 180:
		k.turned = true
	default:
		return k, fmt.Errorf("reading %d, column turned_deg: %v is neither 0 nor 180", i+1, v)
	}
	return k, nil
}

// Match puts the indicators of a file to those of a setup: by name where the setup names several, else all are its only
// one.
func (r *Readings) Match(setup *Setup) error {
	if len(r.Indicators) < 2 && len(setup.Indicators) == 1 || len(r.Indicators) == 0 {
		for i := range r.Runs {
			r.Runs[i].Indicator = 0
		}
		return nil
	}
	if len(setup.Indicators) == 1 { // of one kind all
		ind := setup.Indicators[0]
		setup.Indicators = nil
		for _, name := range r.Indicators {
			ind.Name = name
			setup.Indicators = append(setup.Indicators, ind)
		}
		return nil
	}
	for i := range r.Runs {
		name := r.Indicators[r.Runs[i].Indicator]
		at := -1
		for k := range setup.Indicators {
			if setup.Indicators[k].Name == name {
				at = k
			}
		}
		if at < 0 {
			return fmt.Errorf("the setup knows no indicator %q: name it there, or correct the file", name)
		}
		r.Runs[i].Indicator = at
	}
	return nil
}
