package main

import (
	"errors"
	"fmt"
	"io"
	"os"

	"tramd/cmd/tramd/internal/assembly"
	"tramd/cmd/tramd/internal/config"
	"tramd/sweep"
	"tramd/sweep/line"
	"tramd/sweep/travel"
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

// options returns the values of the flags in the form that a run stores.
func (k *otherKinds) options() assembly.Options {
	return assembly.Options{
		Of: k.Of, StraightnessMM: k.Straightness, Same: k.Same, EdgeMPEMM: k.EdgeMPE, Artefact: k.Artefact,
		RunOutMM: k.RunOut, NoseMM: k.NoseHeight,
	}
}

// kindOf tells what a file holds, and gives a reader of all of it. Where the kind was said, columns of other kinds are
// passed over.
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
	setup, err := c.setupOfKinds()
	if err != nil {
		return fitted{}, err
	}
	t, err := assembly.ReadTable(kind, in, loose)
	if err != nil {
		return fitted{}, err
	}
	var again *sweep.Table
	if c.Rechucked != "" {
		if again, err = c.rechucked(kind, loose); err != nil {
			return fitted{}, err
		}
	}
	r, err := assembly.FitTable(kind, t, again, setup, c.options())
	if err != nil {
		return fitted{}, err
	}
	return fitted{r.Value(), r.Verdict(), func(w io.Writer, title string) error { return printOther(w, title, r) }}, nil
}

// rechucked reads the second file of a bar.
func (c *fitCmd) rechucked(kind string, loose bool) (*sweep.Table, error) {
	if len(c.Files) > 1 {
		return nil, usageError{errors.New("--rechucked belongs to one bar: give one file beside it")}
	}
	f, err := os.Open(c.Rechucked)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	t, err := assembly.ReadTable(kind, f, loose)
	if err != nil {
		err = fmt.Errorf("%s: %w", c.Rechucked, err)
	}
	return t, err
}

// setupOfKinds is what is known beside the readings, without an arm.
func (c *fitCmd) setupOfKinds() (sweep.Setup, error) {
	var s sweep.Setup
	if c.Config != "" {
		cfg, err := config.Load(c.Config)
		if err != nil {
			return s, err
		}
		c.units = cfg.Units()
		s = cfg.Setup()
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
	if err := (&line.Setup{Indicators: s.Indicators}).Validate(); err != nil {
		return s, usageError{err}
	}
	return s, nil
}
