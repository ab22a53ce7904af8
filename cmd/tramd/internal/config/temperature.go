package config

import "path/filepath"

// Temperature says where the temperature of the machine or the shop is read; it is stored with each run.
type Temperature struct {
	// one whole number, thousandths of a degree Celsius, as the kernel gives them; empty = none
	File string `toml:"file"`
}

func (v *validator) temperature(t Temperature) {
	if t.File != "" && !filepath.IsAbs(t.File) {
		v.bad("temperature.file",
			`%q; write the whole path, for example "/sys/bus/w1/devices/28-000001/temperature" of a 1-wire sensor on the machine`, t.File)
	}
}
