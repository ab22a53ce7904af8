package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"tramd/cmd/tramd/internal/config"
	"tramd/store"
)

// configDir is where a packaged service keeps one configuration per machine.
const configDir = "/etc/tramd"

// configFlag finds the configuration of a command that needs one.
type configFlag struct {
	Config string `placeholder:"FILE" help:"Configuration (TOML). Default: the environment's TRAMD_CONFIG, else the only /etc/tramd/*.toml."`
}

// path returns the configuration's file, or an error that names the candidates.
func (f configFlag) path() (string, error) {
	return findConfig(f.Config, os.Getenv("TRAMD_CONFIG"), configDir)
}

func (f configFlag) load(e *env) (*config.Config, error) {
	path, err := f.path()
	if err != nil {
		return nil, err
	}
	cfg, err := config.Load(path)
	if err == nil {
		e.units = cfg.Units()
	}
	return cfg, err
}

// openRecord opens the configuration's record for reading, beside a daemon that may be writing it.
func (f configFlag) openRecord(e *env) (*config.Config, *store.Store, error) {
	cfg, err := f.load(e)
	if err != nil {
		return nil, nil, err
	}
	s, err := store.OpenReadOnly(e.ctx, cfg.Store.Path, store.Options{Log: e.log})
	return cfg, s, err
}

// errNoConfig is what findConfig returns where there is no configuration at all.
var errNoConfig = errors.New(
	"no configuration: give --config FILE, set TRAMD_CONFIG, or write /etc/tramd/NAME.toml (tramd setup asks for all of it)")

// findConfig returns the flag's file, else the environment's, else the only *.toml of dir.
func findConfig(flag, environment, dir string) (string, error) {
	if flag != "" {
		return flag, nil
	}
	if environment != "" {
		return environment, nil
	}
	found, err := filepath.Glob(filepath.Join(dir, "*.toml"))
	if err != nil {
		return "", err
	}
	switch len(found) {
	case 0:
		return "", usageError{errNoConfig}
	case 1:
		return found[0], nil
	}
	return "", usageError{fmt.Errorf("%d configurations: say which by --config or TRAMD_CONFIG: %s", len(found),
		strings.Join(found, ", "))}
}
