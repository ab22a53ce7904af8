package main

import (
	"encoding/json"
	"fmt"
	"os"

	"tramd/cmd/tramd/internal/config"
	"tramd/sweep"
	"tramd/sweep/finish"
	"tramd/sweep/units"
)

type fitCmd struct {
	Files      []string `arg:"" name:"file" help:"Recorded sweeps: t_s,angle_deg,reading_mm[,indicator]."`
	Radius     float64  `placeholder:"MM" help:"Arm length from the spindle axis to the contact point."`
	RadiusU    float64  `placeholder:"MM" help:"Its standard uncertainty."`
	Resolution float64  `placeholder:"MM" default:"0.001" help:"Smallest step of the indicator."`
	MPE        float64  `name:"mpe" placeholder:"MM" help:"Maximum permissible error of the indicator."`
	Tolerance  string   `placeholder:"MM/MM" help:"Largest lean allowed on either axis: 0.02/300, 0.1 mrad, 20 arcsec."`
	Model      string   `enum:"plain,full" default:"${model}" help:"plain: least squares with its textbook covariance; full: everything the program knows."`
	Config     string   `placeholder:"FILE" help:"Take everything from a configuration; flags given beside it win."`
	JSON       bool     `name:"json" help:"Print one JSON object a line, in the order of the files."`

	cutters []finish.Cutter
}

func (c *fitCmd) Run(e *env) error {
	setup, err := c.setup()
	if err != nil {
		return err
	}
	failed := false
	verdict := sweep.None
	for _, path := range c.Files {
		r, err := c.fit(path, setup)
		if err != nil {
			failed = true
			c.complain(e, path, err)
			continue
		}
		verdict = worst(verdict, r.Verdict)
		if c.JSON {
			err = printJSON(e.out, "file", path, r)
		} else {
			err = printResult(e.out, path, r, setup.Tolerance)
			if err == nil {
				err = printFinish(e.out, c.cutters, r)
			}
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
		s = cfg.Setup()
		c.cutters = cfg.Tools()
	} else {
		if c.Radius == 0 {
			return s, usageError{fmt.Errorf("no radius: give --radius MM (arm length from the spindle axis to the contact point), or --config FILE")}
		}
		s.Indicators = []sweep.Indicator{{RadiusMM: c.Radius, RadiusUMM: c.RadiusU, ResolutionMM: c.Resolution, MPEMM: c.MPE}}
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

func (c *fitCmd) fit(path string, setup sweep.Setup) (sweep.Result, error) {
	f, err := os.Open(path)
	if err != nil {
		return sweep.Result{}, err
	}
	defer f.Close()
	if c.Model == sweep.ModelPlain {
		return sweep.FitPlainCSV(f, setup)
	}
	return fitFullCSV(f, setup)
}
