package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/client"
	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/runs"
	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/mixed"
	"tramd/sweep/units"
)

type importCmd struct {
	configFlag
	Files       []string `arg:"" name:"file" help:"Recorded measurements; the header says which kind: sweep, traverse, bar, travel, cross."`
	Subject     string   `name:"name" placeholder:"NAME" help:"What was measured, such as left-rail: a traverse or a bar by its name. One file only."`
	Limit       string   `name:"tolerance" placeholder:"MM/MM" help:"Largest lean or slope allowed: 0.02/300, 0.1 mrad, 20 arcsec. Default: the machine's."`
	At          string   `placeholder:"TIME" help:"When the sweep was taken: 2026-03-02 07:30 (local time) or RFC 3339. Default: when the file was last changed."`
	Purpose     string   `enum:"check,adjust" default:"check" help:"check: does it still hold; adjust: something was being moved."`
	Temperature *float64 `name:"temperature" placeholder:"C" help:"The machine's temperature at that time, in degrees Celsius; stored with the run, for the drift. One file only."`
	Again       bool     `help:"Store sweeps a second time that are in the record already."`
	JSON        bool     `name:"json" help:"Print one JSON object a line, in the order of the files."`

	otherKinds
}

func (c *importCmd) Run(e *env) error {
	if c.At != "" && len(c.Files) > 1 {
		return usageError{errors.New("--at says when one sweep was taken; give one file")}
	}
	if c.Temperature != nil && len(c.Files) > 1 {
		return usageError{errors.New("--temperature is that of one sweep; give one file")}
	}
	if c.Subject != "" && len(c.Files) > 1 {
		return usageError{errors.New("--name is that of one measurement; give one file")}
	}
	if err := judgeTyped(c.Temperature); err != nil {
		return err
	}
	if _, err := units.ParseTolerance(c.Limit); err != nil {
		return usageError{err}
	}
	if err := c.options().Validate(); err != nil {
		return usageError{err}
	}
	if err := c.judgeTimes(); err != nil {
		return err
	}
	cfg, err := c.load(e)
	if err != nil {
		return err
	}
	way, closing, err := importWay(e, cfg)
	if err != nil {
		return err
	}
	defer closing()
	failed := false
	verdict := sweep.None
	for _, path := range c.Files {
		out, at, err := c.bring(e.ctx, way, path)
		if err != nil {
			fmt.Fprintf(e.err, "tramd: %s: %v\n", path, err)
			failed = true
			continue
		}
		of, err := decodeFinding(out.Kind, out.Result, out.Tolerance)
		if err != nil {
			return err
		}
		verdict = worst(verdict, of.verdict)
		if c.JSON {
			err = printJSON(e.out, "run", out.Run, out.Result)
		} else {
			title := fmt.Sprintf("run %d from %s, taken %s", out.Run, path, localTime(at))
			if c.At == "" {
				title += " (when the file was last changed; --at says otherwise)"
			}
			err = of.print(e.text(), title)
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

// copiedWithin is how near the files' times lie that were copied or unpacked together: no two measurements are taken as
// fast.
const copiedWithin = 10 * time.Second

// judgeTimes refuses files whose times show when they were copied and not when it was measured: the drift would take
// years for seconds.
func (c *importCmd) judgeTimes() error {
	if c.At != "" {
		return nil
	}
	type dated struct {
		name string
		at   time.Time
	}
	var files []dated
	for _, path := range c.Files {
		if info, err := os.Stat(path); err == nil { // one that is not there is said when its turn comes
			files = append(files, dated{path, info.ModTime()})
		}
	}
	slices.SortFunc(files, func(a, b dated) int { return a.at.Compare(b.at) })
	for i := 1; i < len(files); i++ {
		if a, b := files[i-1], files[i]; b.at.Sub(a.at) < copiedWithin {
			return usageError{fmt.Errorf(
				"%s and %s were last changed within %.0f s (%s), so that is when they were copied, not when it was "+
					"measured; import them one by one with --at TIME, or give the files their times (touch -d), and nothing was imported",
				a.name, b.name, copiedWithin.Seconds(), localTime(b.at))}
		}
	}
	return nil
}

// importer brings one file in.
type importer func(ctx context.Context, file *os.File, f api.Recorded) (api.Imported, error)

// importWay is through the daemon where one runs, else straight into the store.
func importWay(e *env, cfg *config.Config) (way importer, closing func(), err error) {
	cl := client.New(cfg.Control.Socket)
	if cl.Alive(e.ctx) {
		return func(ctx context.Context, file *os.File, f api.Recorded) (api.Imported, error) {
			return cl.Import(ctx, file, f)
		}, cl.Close, nil
	}
	cl.Close()
	s, err := store.Open(e.ctx, cfg.Store.Path, store.Options{Log: e.log})
	if err != nil {
		return nil, nil, err
	}
	return func(ctx context.Context, file *os.File, f api.Recorded) (api.Imported, error) {
		return runs.Import(ctx, s, file, f, cfg.Setup(), func(pts []sweep.Point, setup sweep.Setup) (
			sweep.Result, error) {
			return runs.FitKnowing(ctx, s, 0, pts, setup, mixed.FitWith, e.log)
		})
	}, func() { s.Close() }, nil
}

func (c *importCmd) bring(ctx context.Context, way importer, path string) (out api.Imported, at time.Time, err error) {
	file, err := os.Open(path)
	if err != nil {
		return out, at, err
	}
	defer file.Close()
	if c.At != "" {
		at, err = parseTime(c.At)
	} else {
		var info os.FileInfo
		if info, err = file.Stat(); err == nil {
			at = info.ModTime()
		}
	}
	if err != nil {
		return out, at, err
	}
	own, err := json.Marshal(c.options())
	if err != nil {
		return out, at, err
	}
	out, err = way(ctx, file, api.Recorded{
		Name: filepath.Base(path), At: at, Purpose: c.Purpose, TemperatureC: c.Temperature, Again: c.Again,
		Kind: c.Kind, Subject: c.Subject, Tolerance: c.Limit, Own: own,
	})
	return out, at, err
}

// parseTime reads a time of day as people write it (local) or as programs do.
func parseTime(text string) (time.Time, error) {
	if t, err := time.Parse(time.RFC3339Nano, text); err == nil {
		return t, nil
	}
	for _, form := range []string{"2006-01-02 15:04:05", "2006-01-02 15:04", "2006-01-02"} {
		if t, err := time.ParseInLocation(form, text, time.Local); err == nil {
			return t, nil
		}
	}
	return time.Time{}, fmt.Errorf("--at %q is not a time; write it as 2026-03-02 07:30, or as 2026-03-02T07:30:00Z",
		text)
}
