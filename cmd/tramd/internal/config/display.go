package config

import "tramd/cmd/tramd/internal/display"

// Display says how figures are written for people.
type Display struct {
	Units string `toml:"units"` // mm, inch or arcsec; empty = mm
}

func (v *validator) display(c *Config) {
	if _, err := display.Of(c.Display.Units, c.Machine.Tolerance); err != nil {
		v.bad("display.units", "%v", err)
	}
}

// Units returns the units that people read.
func (c *Config) Units() display.Units {
	u, err := display.Of(c.Display.Units, c.Machine.Tolerance)
	if err != nil {
		return display.Units{} // judged when the configuration was read
	}
	return u
}
