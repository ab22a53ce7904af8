package assembly

import (
	"fmt"
	"io"
	"math"
	"slices"

	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/bar"
	"tramd/sweep/line"
)

// layouts are the columns of a recorded file, by kind.
var layouts = map[string][]sweep.Column{
	sweep.KindTraverse: line.TraverseColumns, sweep.KindBar: bar.Columns, sweep.KindTravel: line.TravelColumns,
	sweep.KindCross: line.TravelColumns,
}

// common are the columns that the record keeps of every reading.
var common = []string{"t_s", "angle_deg", "reading_mm", "indicator"}

// ReadTable reads a recorded file of a kind as it stands.
func ReadTable(kind string, r io.Reader, loose bool) (*sweep.Table, error) {
	return sweep.ReadTable(r, layouts[kind], loose)
}

// Read reads a recorded file of a kind into readings as the record keeps them. The indicators of a setup that names
// only one are made those that the file names.
func Read(kind string, r io.Reader, setup *sweep.Setup, loose bool) (store.Samples, error) {
	t, err := ReadTable(kind, r, loose)
	if err != nil {
		return store.Samples{}, err
	}
	which, err := indicators(t, setup)
	if err != nil {
		return store.Samples{}, err
	}
	s := store.Samples{Points: make([]sweep.Point, t.Rows)}
	for i := range s.Points {
		p := sweep.Point{T: t.Numbers["t_s"][i], Angle: math.NaN(), Reading: t.Numbers["reading_mm"][i]}
		if angles := t.Numbers["angle_deg"]; angles != nil {
			p.Angle = sweep.Radians(angles[i])
		}
		if w := t.Words["indicator"]; w != nil {
			p.Indicator = which[w[i]]
		}
		s.Points[i] = p
	}
	for _, c := range layouts[kind] {
		if slices.Contains(common, c.Name) || !t.Has(c.Name) {
			continue
		}
		own := store.Column{Name: c.Name, Values: t.Numbers[c.Name]}
		if w := t.Words[c.Name]; w != nil {
			own.Words = make([]string, t.Rows)
			for i, at := range w {
				own.Words[i] = t.Names[c.Name][at]
			}
		}
		s.Columns = append(s.Columns, own)
	}
	return s, nil
}

// indicators returns, for each name of the file, the indicator of the setup.
func indicators(t *sweep.Table, setup *sweep.Setup) ([]int, error) {
	names := t.Names["indicator"]
	which := make([]int, len(names))
	switch {
	case len(setup.Indicators) == 0:
		return nil, fmt.Errorf("no indicator: a measurement needs at least one")
	case len(setup.Indicators) > 1:
		for i, name := range names {
			which[i] = slices.IndexFunc(setup.Indicators, func(x sweep.Indicator) bool { return x.Name == name })
			if which[i] < 0 {
				return nil, fmt.Errorf("the setup knows no indicator %q: name it there, or correct the file", name)
			}
		}
	case len(names) > 1: // of one kind all
		one := setup.Indicators[0]
		setup.Indicators = nil
		for i, name := range names {
			one.Name, which[i] = name, i
			setup.Indicators = append(setup.Indicators, one)
		}
	}
	return which, nil
}

// table makes readings of the record a table again.
func table(kind string, s store.Samples, setup sweep.Setup) (*sweep.Table, error) {
	n := len(s.Points)
	t := &sweep.Table{Rows: n, Numbers: map[string][]float64{}, Words: map[string][]int{}, Names: map[string][]string{}}
	times, readings, which := make([]float64, n), make([]float64, n), make([]int, n)
	for i, p := range s.Points {
		times[i], readings[i], which[i] = p.T, p.Reading, p.Indicator
		if p.Indicator < 0 || p.Indicator >= len(setup.Indicators) {
			return nil, fmt.Errorf("reading %d is of an indicator that the setup does not have", i+1)
		}
	}
	t.Numbers["t_s"], t.Numbers["reading_mm"] = times, readings
	if kind == sweep.KindBar {
		angles := make([]float64, n)
		for i, p := range s.Points {
			if !p.Finite() {
				return nil, fmt.Errorf("reading %d has no angle", i+1)
			}
			angles[i] = sweep.Degrees(p.Angle)
		}
		t.Numbers["angle_deg"] = angles
	} else if len(setup.Indicators) > 1 {
		t.Words["indicator"] = which
		for _, x := range setup.Indicators {
			t.Names["indicator"] = append(t.Names["indicator"], x.Name)
		}
	}
	for _, c := range layouts[kind] {
		if slices.Contains(common, c.Name) {
			continue
		}
		own := s.Column(c.Name)
		if own == nil {
			if c.Required {
				return nil, fmt.Errorf("its readings have no %s", c.Name)
			}
			continue
		}
		if err := take(t, c, own); err != nil {
			return nil, err
		}
	}
	return t, nil
}

// take puts a stored column into a table.
func take(t *sweep.Table, c sweep.Column, own *store.Column) error {
	if c.Words == nil {
		for i, v := range own.Values {
			if math.IsNaN(v) {
				return fmt.Errorf("reading %d has no %s", i+1, c.Name)
			}
		}
		if own.Values == nil {
			return fmt.Errorf("its %s are words, not numbers", c.Name)
		}
		t.Numbers[c.Name] = own.Values
		return nil
	}
	at := make([]int, len(own.Words))
	for i, w := range own.Words {
		if at[i] = slices.Index(c.Words, w); at[i] < 0 {
			return fmt.Errorf("reading %d, %s: %q is none of %v", i+1, c.Name, w, c.Words)
		}
	}
	if own.Words == nil {
		return fmt.Errorf("its %s are numbers, not words", c.Name)
	}
	t.Words[c.Name], t.Names[c.Name] = at, c.Words
	return nil
}
