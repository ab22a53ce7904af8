package main

import (
	"errors"
	"fmt"
	"io"
	"os"

	"tramd/cmd/tramd/internal/assembly"
	"tramd/cmd/tramd/internal/config"
	"tramd/sweep"
	"tramd/sweep/bar"
	"tramd/sweep/line"
	"tramd/sweep/travel"
	"tramd/sweep/traverse"
	"tramd/sweep/units"
)

// otherKinds are the flags of the measurements that are no sweep.
type otherKinds struct {
	Kind         string   `enum:",sweep,traverse,bar,travel,cross" default:"" help:"sweep, traverse, bar, travel or cross, where the header could be two of them."`
	Of           string   `enum:",bar,square,table" default:"" help:"What the indicator touched while the head or the table moved: bar, square or table."`
	Straightness float64  `placeholder:"MM" help:"Largest departure from straight or flat allowed (minimum zone); with --same, largest difference of the positions."`
	Same         bool     `help:"A traverse without an edge: positions are judged against each other, largest less smallest."`
	EdgeMPE      float64  `name:"edge-mpe" placeholder:"MM" help:"Permissible error of the edge over its length."`
	Artefact     string   `placeholder:"MM/MM" help:"How far a bar or square that was not turned by 180 degrees may lean itself."`
	RunOut       float64  `name:"run-out" placeholder:"MM" help:"Largest run-out of a bar allowed at any height."`
	NoseHeight   *float64 `name:"nose-height" placeholder:"MM" help:"Height of the spindle's nose on a bar's scale."`
}

// options returns the flags as they are stored with a run.
func (k *otherKinds) options() assembly.Options {
	return assembly.Options{
		Of: k.Of, StraightnessMM: k.Straightness, Same: k.Same, EdgeMPEMM: k.EdgeMPE, Artefact: k.Artefact, RunOutMM: k.RunOut, NoseMM: k.NoseHeight,
	}
}

// kindOf tells what a file holds, and gives a reader of all of it. Where the kind was said, columns of other kinds are passed over.
func (c *fitCmd) kindOf(f *os.File) (kind string, loose bool, in io.Reader, err error) {
	columns, in, err := sweep.Header(f)
	if err != nil {
		return "", false, nil, err
	}
	if _, err := f.Seek(0, io.SeekStart); err == nil {
		in = f // whose size is known
	}
	if c.Kind != "" {
		return c.Kind, c.Kind != sweep.KindSweep, in, nil
	}
	kind, err = sweep.KindOf(columns)
	if kind == sweep.KindTravel && c.Of == travel.OfTable {
		kind = sweep.KindCross
	}
	return kind, false, in, err
}

// other fits what is no sweep.
func (c *fitCmd) other(kind string, in io.Reader, loose bool) (fitted, error) {
	setup, err := c.lineSetup()
	if err != nil {
		return fitted{}, err
	}
	switch kind {
	case sweep.KindTraverse:
		r, err := traverse.FitCSV(in, traverse.Options{Setup: setup, Same: c.Same}, loose)
		if err != nil {
			return fitted{}, err
		}
		return fitted{r, r.Verdict, func(w io.Writer, title string) error { return printTraverse(w, title, r) }}, nil
	case sweep.KindBar:
		return c.bar(in, setup, loose)
	}
	opt := travel.Options{Setup: setup, Of: c.Of}
	if c.Artefact != "" {
		t, err := units.ParseTolerance(c.Artefact)
		if err != nil {
			return fitted{}, usageError{err}
		}
		opt.Artefact = t.Limit
	}
	switch {
	case kind == sweep.KindCross && c.Of == "":
		opt.Of = travel.OfTable
	case kind == sweep.KindCross && c.Of != travel.OfTable:
		return fitted{}, usageError{fmt.Errorf("a cross is measured at the table: leave --of away, or write --of table")}
	case c.Of == "":
		return fitted{}, fmt.Errorf("a header with side_deg fits a travel at a bar, at a square, and over the table: say which with --of bar, square or table")
	}
	r, err := travel.FitCSV(in, opt, loose)
	if err != nil {
		return fitted{}, err
	}
	return fitted{r, r.Verdict, func(w io.Writer, title string) error { return printTravel(w, title, r) }}, nil
}

func (c *fitCmd) bar(in io.Reader, setup line.Setup, loose bool) (fitted, error) {
	readings, again, err := bar.Read(in, loose)
	if err != nil {
		return fitted{}, err
	}
	if c.Rechucked != "" {
		if len(c.Files) > 1 {
			return fitted{}, usageError{errors.New("--rechucked belongs to one bar: give one file beside it")}
		}
		f, err := os.Open(c.Rechucked)
		if err != nil {
			return fitted{}, err
		}
		defer f.Close()
		other, turned, err := bar.Read(f, loose)
		if err != nil {
			return fitted{}, fmt.Errorf("%s: %w", c.Rechucked, err)
		}
		if len(again) > 0 || len(other) > 0 && len(turned) > 0 {
			return fitted{}, errors.New("the column turned_deg holds both ways of the bar already: leave --rechucked away")
		}
		again = append(other, turned...)
	}
	r, err := bar.Fit(readings, again, bar.Options{Indicator: setup.Indicators[0], Tolerance: setup.Tolerance, RunOutMM: c.RunOut, NoseMM: c.NoseHeight})
	if err != nil {
		return fitted{}, err
	}
	return fitted{r, r.Verdict, func(w io.Writer, title string) error { return printBar(w, title, r) }}, nil
}

// lineSetup is what is known beside the readings, without an arm.
func (c *fitCmd) lineSetup() (line.Setup, error) {
	s := line.Setup{EdgeMPEMM: c.EdgeMPE, StraightnessMM: c.Straightness}
	if c.Config != "" {
		cfg, err := config.Load(c.Config)
		if err != nil {
			return s, err
		}
		sweepSetup := cfg.Setup()
		c.units = cfg.Units()
		s.Indicators, s.Tolerance = sweepSetup.Indicators, sweepSetup.Tolerance
	} else {
		s.Indicators = []sweep.Indicator{{ResolutionMM: c.Resolution, MPEMM: c.MPE}}
	}
	if c.Tolerance != "" {
		t, err := units.ParseTolerance(c.Tolerance)
		if err != nil {
			return s, usageError{err}
		}
		s.Tolerance = t
	}
	if err := c.options().Validate(); err != nil {
		return s, usageError{err}
	}
	if err := s.Validate(); err != nil {
		return s, usageError{err}
	}
	return s, nil
}
