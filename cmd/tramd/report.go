package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"tramd/cmd/tramd/internal/report"
	"tramd/sweep/drift"
	"tramd/sweep/units"
)

type reportCmd struct {
	configFlag
	Out         string  `placeholder:"FILE.html" help:"Where to write the report; standard output without it."`
	CSV         string  `name:"csv" placeholder:"FILE.csv" help:"Write the history beside it, as tramd drift reads it."`
	Tolerance   string  `placeholder:"MM/MM" help:"Judge by this tolerance instead of the configuration's."`
	Reliability float64 `default:"0.95" help:"Chance that the machine is still within its tolerance at the next check."`
}

func (c *reportCmd) Run(e *env) error {
	if !(c.Reliability >= 0.5 && c.Reliability < 1) {
		return usageError{fmt.Errorf("--reliability must be at least 0.5 and less than 1; 0.95 is usual")}
	}
	tol, err := units.ParseTolerance(c.Tolerance)
	if err != nil {
		return usageError{err}
	}
	h, cfg, err := c.recorded(e, tol)
	if err != nil {
		return err
	}
	a, err := drift.Work(h, c.Reliability)
	if err != nil {
		return err
	}
	written := cfg.Machine.Tolerance
	if tol.Given() {
		written = tol.Text
	}
	r := &report.Report{
		Machine: cfg.Machine.Name, Surface: h.Surface(), Tolerance: written, History: h, Answer: a,
		Reliability: c.Reliability, Version: version,
		Units: e.units, Page: cfg.Page(),
	}
	if c.Out == "" {
		err = r.Write(e.out)
	} else {
		err = writeFile(c.Out, r.Write)
	}
	if err == nil && c.CSV != "" {
		err = writeFile(c.CSV, func(w io.Writer) error { return report.WriteCSV(w, h) })
	}
	return err
}

// writeFile writes beside the file and then gives it its name, so that a report is whole or not there.
func writeFile(path string, write func(io.Writer) error) error {
	f, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".part-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // there only if something failed
	err = write(f)
	if err == nil {
		err = f.Chmod(0o644)
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	return os.Rename(f.Name(), path)
}
