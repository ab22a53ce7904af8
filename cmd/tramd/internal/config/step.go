package config

import (
	"fmt"
	"slices"
	"strings"

	"tramd/sweep"
)

// Step is one measurement of the whole job, in its order.
type Step struct {
	Name string `toml:"name"`
	Kind string `toml:"kind"` // traverse, bar, travel or sweep
	Of   string `toml:"of"`   // the traverse, bar or square; none of a sweep
	Do   string `toml:"do"`   // what is adjusted by it, in words
}

// Steps returns the measurements of the job in their order: those that are written, or else what is configured, from
// the rails up.
func (c *Config) Steps() []Step {
	if len(c.JobSteps) > 0 {
		return c.JobSteps
	}
	var out, last []Step
	for _, t := range c.Traverses {
		s := Step{Name: t.Name, Kind: sweep.KindTraverse, Of: t.Name}
		if t.Over == OverTable {
			last = append(last, s)
		} else {
			out = append(out, s)
		}
	}
	for _, b := range c.Bars {
		if len(b.HeightsMM) > 0 {
			out = append(out, Step{Name: b.Name + ", turning", Kind: sweep.KindBar, Of: b.Name})
		}
	}
	for _, q := range c.Squares {
		out = append(out, Step{Name: q.Name, Kind: sweep.KindTravel, Of: q.Name})
	}
	for _, b := range c.Bars {
		if len(b.TravelMM) > 0 {
			out = append(out, Step{Name: b.Name + ", head moving", Kind: sweep.KindTravel, Of: b.Name})
		}
	}
	return append(append(out, last...), Step{Name: "spindle against table", Kind: sweep.KindSweep})
}

func (v *validator) steps(c *Config) {
	names := map[string]bool{}
	for i := range c.JobSteps {
		s := &c.JobSteps[i]
		at := fmt.Sprintf("step.%d.", i)
		if s.Name == "" {
			s.Name = strings.TrimSpace(s.Kind + " " + s.Of)
		}
		if len(s.Name) > 64 || names[s.Name] {
			v.bad(at+"name", "%q; give each step a short name of its own", s.Name)
		}
		names[s.Name] = true
		var known []string
		switch s.Kind {
		case sweep.KindTraverse:
			for _, t := range c.Traverses {
				known = append(known, t.Name)
			}
		case sweep.KindBar:
			for _, b := range c.Bars {
				if len(b.HeightsMM) > 0 {
					known = append(known, b.Name)
				}
			}
		case sweep.KindTravel:
			for _, b := range c.Bars {
				if len(b.TravelMM) > 0 {
					known = append(known, b.Name)
				}
			}
			for _, q := range c.Squares {
				known = append(known, q.Name)
			}
		case sweep.KindSweep:
			if s.Of != "" {
				v.bad(at+"of", "a sweep is of the spindle against the table; remove it")
			}
			continue
		default:
			v.bad(at+"kind", `%q is no step; write kind = "traverse", "bar", "travel" or "sweep"`, s.Kind)
			continue
		}
		if !slices.Contains(known, s.Of) {
			what := map[string]string{sweep.KindTraverse: "traverse", sweep.KindBar: "bar",
				sweep.KindTravel: "bar or square"}[s.Kind]
			switch best := closest(s.Of, known); {
			case s.Of == "":
				v.bad(at+"of", "missing; write the name of the %s", what)
			case best != "":
				v.bad(at+"of", "there is no %s %q to be measured so; did you mean %q?", what, s.Of, best)
			default:
				v.bad(at+"of", "there is no %s %q to be measured so; add it, or correct the name", what, s.Of)
			}
		}
	}
}
