package config

import (
	"regexp"
	"strconv"
	"strings"
	"time"

	"tramd/cmd/tramd/internal/schedule"
	"tramd/cmd/tramd/internal/unattended"
	"tramd/sweep"
	"tramd/sweep/drift"
)

// Check is when the daemon takes a check by itself.
type Check struct {
	At    []string `toml:"at"`    // local times of day; none = no unattended checks
	Days  []string `toml:"days"`  // of the week; none = each
	Every string   `toml:"every"` // "3 days", counted from From
	From  string   `toml:"from"`  // a date
	When  string   `toml:"when"`  // always | due
	// the interval until the next check, where the record bears no date of its own
	First        string  `toml:"first"`
	AtMost       string  `toml:"at_most"` // the longest interval, whatever the record says
	SpindleHours float64 `toml:"spindle_hours"`
	Turns        int     `toml:"turns"`
	WarmUp       string  `toml:"warm_up"`
	Patience     string  `toml:"patience"`
	Retry        *bool   `toml:"retry"`
	RetryAfter   string  `toml:"retry_after"`
	StillMM      float64 `toml:"still_mm"`
	MinMM        float64 `toml:"min_mm" zero:"meant"`
	MaxMM        float64 `toml:"max_mm" zero:"meant"`
	DryRun       bool    `toml:"dry_run"`
	IdleAsk      string  `toml:"idle_ask"` // what a motion controller is asked before it is to move
	// a whole line that says the machine does nothing, as a regular expression
	IdleAnswer string `toml:"idle_answer"`
	IdleInput  string `toml:"idle_input"` // an input that says it too, and is watched while the arm moves
	IdleState  string `toml:"idle_state"` // what that is then: on | off
}

func (c *Check) setDefaults() {
	set := func(s *string, to string) {
		if *s == "" {
			*s = to
		}
	}
	set(&c.First, "7 days")
	set(&c.AtMost, "90 days")
	if len(c.At) == 0 {
		return
	}
	set(&c.When, string(unattended.Always))
	set(&c.Every, "1 day")
	set(&c.From, "2026-01-01")
	set(&c.WarmUp, "0 min")
	set(&c.Patience, "10 min")
	set(&c.RetryAfter, "5 min")
	if c.Retry == nil {
		yes := true
		c.Retry = &yes
	}
	if c.Turns == 0 {
		c.Turns = 1
	}
	if c.StillMM == 0 {
		c.StillMM = 0.01
	}
}

// Slots are the times of the schedule.
func (c Check) Slots() schedule.Plan {
	p, _ := c.slots()
	return p
}

func (c Check) slots() (p schedule.Plan, bad map[string]string) {
	bad = map[string]string{}
	for _, text := range c.At {
		m, err := schedule.ParseMinute(text)
		if err != nil {
			bad["at"] = err.Error()
		}
		p.Times = append(p.Times, m)
	}
	for _, text := range c.Days {
		d, err := schedule.ParseDay(text)
		if err != nil {
			bad["days"] = err.Error()
		}
		p.Days = append(p.Days, d)
	}
	every, ok := age(c.Every)
	if !ok {
		bad["every"] = strconv.Quote(c.Every) + ` is not a number of days; write for example "3 days"`
	}
	p.Every = int(every / (24 * time.Hour))
	if p.Every > 1 && len(p.Days) > 0 {
		bad["every"] = "clashes with days; write one of them"
	}
	from, err := time.Parse(time.DateOnly, c.From)
	if err != nil {
		bad["from"] = strconv.Quote(c.From) + ` is not a date; write for example "2026-03-02"`
	}
	p.From = from
	return p, bad
}

// Intervals are the first and the longest interval between checks.
func (c Check) Intervals() drift.Plan {
	first, _ := age(c.First) // checked when the file was read
	most, _ := age(c.AtMost)
	return drift.Plan{First: first.Hours() / 24, AtMost: most.Hours() / 24}
}

func (v *validator) intervals(c Check) {
	first, ok := age(c.First)
	if !ok || first == 0 {
		v.bad("check.first", `%q is not a number of days; write for example "7 days"`, c.First)
	}
	most, wide := age(c.AtMost)
	if !wide || most == 0 {
		v.bad("check.at_most", `%q is not a number of days; write for example "90 days"`, c.AtMost)
	}
	if ok && wide && first > most {
		v.bad("check.first", "%q is longer than at_most, %q; write a shorter one", c.First, c.AtMost)
	}
}

// CheckPlan says how the checks are to go.
func (c *Config) CheckPlan() unattended.Plan {
	p := c.Check.plan()
	if p.Moves = c.Angle.Source == SourceProgram; p.Moves && p.MinMM == 0 && p.MaxMM == 0 &&
		len(c.Program.TravelMM) == 2 {
		p.MinMM, p.MaxMM = c.Program.TravelMM[0], c.Program.TravelMM[1]
	}
	return p
}

// Idle returns the answer by which a machine says that it does nothing; nil where none is given.
func (c Check) Idle() *regexp.Regexp {
	re, _ := whole(c.IdleAnswer) // checked when the file was read
	return re
}

func (c Check) plan() unattended.Plan {
	warm, _ := span(c.WarmUp)
	patience, _ := span(c.Patience)
	again, _ := span(c.RetryAfter)
	return unattended.Plan{When: unattended.When(c.When), Hours: c.SpindleHours, DryRun: c.DryRun,
		Retry:      c.Retry != nil && *c.Retry,
		RetryAfter: again, WarmUp: warm, Patience: patience, StillMM: c.StillMM, MinMM: c.MinMM, MaxMM: c.MaxMM}
}

var spanForm = regexp.MustCompile(`^([0-9]{1,4}) (s|min|h)$`)

// span reads "20 min".
func span(text string) (time.Duration, bool) {
	m := spanForm.FindStringSubmatch(text)
	if m == nil {
		return 0, false
	}
	n, err := strconv.Atoi(m[1])
	unit := map[string]time.Duration{"s": time.Second, "min": time.Minute, "h": time.Hour}[m[2]]
	d := time.Duration(n) * unit
	return d, err == nil && d <= 24*time.Hour
}

func (v *validator) check(c Check, source string) {
	v.intervals(c)
	if len(c.At) == 0 {
		if c.Days != nil || c.Every+c.From+c.When+c.WarmUp+c.Patience+c.RetryAfter != "" ||
			c.SpindleHours != 0 || c.DryRun {
			v.bad("check.at", `missing; write the times of day of unattended checks, for example at = ["06:00"]`)
		}
		return
	}
	switch source {
	case SourceEncoder:
		if c.IdleAsk+c.IdleAnswer != "" {
			v.bad("check.idle_ask", `is for [angle] source = "program" only, which has a controller to ask; remove it`)
		}
	case SourceProgram:
		if (c.IdleAsk == "" || c.IdleAnswer == "") && (c.IdleInput == "" || c.IdleAsk+c.IdleAnswer != "") {
			v.bad("check.idle_ask",
				`idle_ask and idle_answer are needed before anything moves by itself; write what your controller is asked and the line by which it says that the machine does nothing, for example idle_ask = "STATE" and idle_answer = "state idle", or an input that says it: idle_input and idle_state`)
		}
		if _, err := whole(c.IdleAnswer); err != nil {
			v.bad("check.idle_answer", "%q is not a regular expression: %v", c.IdleAnswer, err)
		}
	default:
		v.bad(
			"check.at",
			`an unattended check needs the spindle angle; write [angle] source = "encoder" or "program", or remove [check]`)
	}
	_, bad := c.slots()
	for _, key := range []string{"at", "days", "every", "from"} {
		if bad[key] != "" {
			v.bad("check."+key, "%s", strings.TrimSpace(bad[key]))
		}
	}
	if c.When != string(unattended.Always) && c.When != string(unattended.WhenDue) {
		v.bad("check.when", `%q; write "always", or "due" for only when the drift of the machine asks for a check`,
			c.When)
	}
	for key, text := range map[string]string{"warm_up": c.WarmUp, "patience": c.Patience, "retry_after": c.RetryAfter} {
		if _, ok := span(text); !ok {
			v.bad("check."+key, `%q is not a time; write for example "20 min" ("s", "min" or "h", a day at most)`, text)
		}
	}
	warm, _ := span(c.WarmUp)
	if patience, ok := span(c.Patience); ok && patience < time.Minute {
		v.bad("check.patience", "%q is too short for conditions to be waited for; write a minute or more", c.Patience)
	} else if ok && warm >= 12*time.Hour {
		v.bad("check.warm_up", "%q would reach into the next check; write less than 12 h", c.WarmUp)
	}
	v.optional("check.spindle_hours", c.SpindleHours, 0.1, 10000)
	v.whole("check.turns", int64(c.Turns), 1, sweep.MaxTurns)
	v.number("check.still_mm", c.StillMM, 0.0001, 10)
	v.number("check.min_mm", c.MinMM, -1000, 1000)
	v.number("check.max_mm", c.MaxMM, -1000, 1000)
	_, low := v.at["check.min_mm"]
	_, high := v.at["check.max_mm"]
	if (low || high) && c.MinMM >= c.MaxMM && !v.told["check.min_mm"] && !v.told["check.max_mm"] {
		v.bad("check.max_mm", "%v mm is not above min_mm, %v mm; write the travel the indicators may use",
			c.MaxMM, c.MinMM)
	}
}
