package config

import (
	"fmt"

	"tramd/sweep/finish"
)

// Cutter is a tool of the shop, for what a lean leaves on the work.
type Cutter struct {
	Name       string  `toml:"name"`
	DiameterMM float64 `toml:"diameter_mm"`
	StepoverMM float64 `toml:"stepover_mm"` // between neighbouring passes
	LimitMM    float64 `toml:"limit_mm"`    // the highest mark that will do; 0: not said
}

// Tools returns the cutters as the finish knows them.
func (c *Config) Tools() []finish.Cutter {
	var out []finish.Cutter
	for _, t := range c.Cutters {
		out = append(out, finish.Cutter{Name: t.Name, DiameterMM: t.DiameterMM, StepoverMM: t.StepoverMM,
			LimitMM: t.LimitMM})
	}
	return out
}

func (v *validator) cutters(c *Config) {
	names := map[string]bool{}
	for i, t := range c.Cutters {
		key := func(k string) string { return fmt.Sprintf("cutter.%d.%s", i, k) }
		if t.Name == "" || len(t.Name) > 64 {
			v.bad(key("name"), `%q; write a short name, for example name = "6 mm end mill"`, t.Name)
		} else if names[t.Name] {
			v.bad(key("name"), "%q is taken by another cutter; give each its own name", t.Name)
		}
		names[t.Name] = true
		if t.DiameterMM == 0 {
			v.bad(key("diameter_mm"), "missing; write the width of its flat face in mm, for example diameter_mm = 6.0")
			continue
		}
		v.number(key("diameter_mm"), t.DiameterMM, 0.1, 1000)
		if v.told[key("diameter_mm")] {
			continue
		}
		if t.StepoverMM == 0 {
			v.bad(key("stepover_mm"),
				"missing; write the distance between neighbouring passes in mm, for example stepover_mm = 3.0")
		} else {
			v.number(key("stepover_mm"), t.StepoverMM, 0.001, t.DiameterMM)
		}
		v.optional(key("limit_mm"), t.LimitMM, 0.00001, 100)
	}
}
