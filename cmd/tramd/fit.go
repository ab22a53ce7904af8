package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"

	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/display"
	"tramd/cmd/tramd/internal/largepages"
	"tramd/sweep"
	"tramd/sweep/finish"
	"tramd/sweep/units"
)

type fitCmd struct {
	Files      []string `arg:"" name:"file" help:"Recorded measurements; the header says which kind: sweep, traverse, bar, travel, cross."`
	Radius     float64  `placeholder:"MM" help:"Arm length from the spindle axis to the contact point."`
	RadiusU    float64  `placeholder:"MM" help:"Its standard uncertainty."`
	Resolution float64  `placeholder:"MM" default:"0.001" help:"Smallest step of the indicator."`
	MPE        float64  `name:"mpe" placeholder:"MM" help:"Maximum permissible error of the indicator."`
	Tolerance  string   `placeholder:"MM/MM" help:"Largest lean allowed on either axis: 0.02/300, 0.1 mrad, 20 arcsec."`
	Model      string   `enum:"plain,full" default:"${model}" help:"plain: least squares with its textbook covariance; full: everything the program knows."`
	Config     string   `placeholder:"FILE" help:"Take everything from a configuration; flags given beside it win."`
	JSON       bool     `name:"json" help:"Print one JSON object a line, in the order of the files."`

	otherKinds
	Rechucked string `placeholder:"FILE" help:"The same bar, taken out and put back turned by 180 degrees in the collet."`

	cutters []finish.Cutter
	units   display.Units // those of the configuration
}

func (c *fitCmd) Run(e *env) error {
	if _, err := units.ParseTolerance(c.Tolerance); err != nil {
		return usageError{err}
	}
	failed := false
	verdict := sweep.None
	for _, path := range c.Files {
		r, err := c.one(path)
		var wrong usageError
		if errors.As(err, &wrong) {
			return err
		}
		if err != nil {
			failed = true
			c.complain(e, path, err)
			continue
		}
		verdict = worst(verdict, r.verdict)
		if c.JSON {
			err = printJSON(e.out, "file", path, r.json)
		} else {
			err = r.print(c.units.Writer(e.out), path)
		}
		if err != nil {
			return err
		}
	}
	if failed {
		return errShown
	}
	return verdictStatus(verdict)
}

func (c *fitCmd) complain(e *env, path string, err error) {
	if !c.JSON {
		fmt.Fprintf(e.err, "tramd: %s: %v\n", path, err)
		return
	}
	text, _ := json.Marshal(map[string]string{"file": path, "error": err.Error()}) // two strings always marshal
	fmt.Fprintf(e.out, "%s\n", text)
}

func (c *fitCmd) setup() (sweep.Setup, error) {
	var s sweep.Setup
	if c.Config != "" {
		cfg, err := config.Load(c.Config)
		if err != nil {
			return s, err
		}
		s, c.units = cfg.Setup(), cfg.Units()
		c.cutters = cfg.Tools()
	} else {
		if c.Radius == 0 {
			return s, usageError{fmt.Errorf(
				"no radius: give --radius MM (arm length from the spindle axis to the contact point), or --config FILE")}
		}
		s.Indicators = []sweep.Indicator{{RadiusMM: c.Radius, RadiusUMM: c.RadiusU, ResolutionMM: c.Resolution,
			MPEMM: c.MPE}}
	}
	if c.Config != "" && c.Radius != 0 && len(s.Indicators) == 1 {
		s.Indicators[0].RadiusMM, s.Indicators[0].RadiusUMM = c.Radius, c.RadiusU
	}
	if c.Tolerance != "" {
		t, err := units.ParseTolerance(c.Tolerance)
		if err != nil {
			return s, usageError{err}
		}
		s.Tolerance = t
	}
	if err := s.Validate(); err != nil {
		return s, usageError{err}
	}
	return s, nil
}

// fitBytes is how much memory the full model takes for each byte of a recorded sweep, all in all.
const fitBytes = 6

// fitted is what came of one file of whatever kind.
type fitted struct {
	json    any
	verdict sweep.Verdict
	print   func(w io.Writer, title string) error
}

// one fits one file. A mistake in the flags is a usageError.
func (c *fitCmd) one(path string) (fitted, error) {
	f, err := os.Open(path)
	if err != nil {
		return fitted{}, err
	}
	defer f.Close()
	kind, loose, in, err := c.kindOf(f)
	if err != nil {
		return fitted{}, err
	}
	if kind != sweep.KindSweep {
		return c.other(kind, in, loose)
	}
	setup, err := c.setup()
	if err != nil {
		return fitted{}, err
	}
	fit := fitFullCSV
	if c.Model == sweep.ModelPlain {
		fit = sweep.FitPlainCSV
	} else if info, err := f.Stat(); err == nil {
		largepages.Prepare(fitBytes * info.Size())
	}
	r, err := fit(in, setup)
	return fitted{r, r.Verdict, func(w io.Writer, title string) error {
		if err := printResult(w, title, r, setup.Tolerance); err != nil {
			return err
		}
		return printFinish(w, c.cutters, r)
	}}, err
}
