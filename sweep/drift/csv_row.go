package drift

import (
	"fmt"
	"math"
	"strings"
	"time"

	"tramd/sweep"
)

// row takes one row after the header.
func (p *csvParser) row(row []string) error {
	if len(row) > p.wide {
		return fmt.Errorf("line %d: found %d columns, not %d: write %s, with a decimal point and not a comma", p.line,
			len(row), p.wide, CSVHeader)
	}
	var cells [columns]string
	for k, i := range p.at {
		if i >= 0 && i < len(row) {
			cells[k] = strings.TrimSpace(row[i])
		} else if i >= 0 && k < colHours { // only the last two may be left off
			return fmt.Errorf("line %d: found %d columns, not %d: write %s", p.line, len(row), p.wide, CSVHeader)
		}
	}
	check, err := p.check(cells)
	if err != nil {
		return err
	}
	if check == nil && cells[colEvent] == "" {
		return fmt.Errorf(
			"line %d: neither a check nor an event: fill in tilt or nod, or say what happened in the column event",
			p.line)
	}
	at, err := p.time(cells[colTime])
	if err != nil {
		return err
	}
	if at.Year() < notSet {
		p.note("clock")
		if check != nil {
			p.h.Undated++
		}
		return nil
	}
	if at.Before(p.last) {
		return fmt.Errorf(
			"line %d, column time: %s comes after %s: sort the rows by time; if the clock was wrong, correct the time or take the row out",
			p.line, at.Format(time.RFC3339), p.last.Format(time.RFC3339))
	}
	if text := cells[colEvent]; text != "" {
		if !validText(text) {
			return p.bad(colEvent, text, "write it as plain UTF-8 text in less than 1000 bytes")
		}
		kind, _, _ := strings.Cut(text, " ")
		if strings.EqualFold(strings.Trim(kind, ":;,."), HoursEvent) { // the counter has a column of its own
			return p.bad(colEvent, text, "write the counter into the column spindle_hours")
		}
		p.h.Entries = append(p.h.Entries,
			Entry{Event: &Event{Time: at, Kind: strings.ToLower(strings.Trim(kind, ":;,.")), Text: text},
				Place: p.line})
	}
	if check != nil {
		p.add(check, at)
	}
	p.last = at
	return nil
}

func (p *csvParser) time(s string) (time.Time, error) {
	at, err := time.Parse(time.RFC3339, s)
	if err != nil || at.Year() > 2200 {
		return at, p.bad(colTime, s, "write the time as 2026-03-02T07:30:00Z or with its zone as +01:00")
	}
	return at, nil
}

// check reads the measurement of a row; nil when there is none.
func (p *csvParser) check(cells [columns]string) (*Check, error) {
	var x [columns]float64
	for k := colTilt; k <= colHours; k++ {
		var err error
		if x[k], err = p.number(k, cells[k]); err != nil {
			return nil, err
		}
	}
	var measured [len(Axes)]bool
	for i := range Axes {
		k := colTilt + 2*i
		value, u := x[k], x[k+1]
		switch {
		case math.Abs(value) > maxLean:
			return nil, p.bad(k, cells[k], "write the lean in mm/m")
		case u < 0 || u > maxLean:
			return nil, p.bad(k+1, cells[k+1], "write the standard uncertainty in mm/m, above 0, or leave it empty")
		case math.IsNaN(value) && !math.IsNaN(u):
			return nil, p.bad(k, "", "an uncertainty without a lean: fill in the lean, or leave both empty")
		case math.IsNaN(value):
			continue
		}
		if math.IsNaN(u) {
			p.note("no_u")
		} else if u == 0 {
			p.note("zero_u")
		}
		measured[i] = true
	}
	celsius, err := p.number(colTemperature, cells[colTemperature])
	if err != nil {
		return nil, err
	}
	if !math.IsNaN(celsius) && JudgeTemperature(celsius) != nil {
		return nil, p.bad(colTemperature, cells[colTemperature],
			fmt.Sprintf("write the machine's temperature in degrees Celsius, %.0f to %.0f, or leave it empty",
				ColdestC, HottestC))
	}
	if x[colHours] < 0 {
		return nil, p.bad(colHours, cells[colHours], "write what the spindle's hour counter shows, or leave it empty")
	}
	if measured == [len(Axes)]bool{} {
		return nil, nil
	}
	c := p.place()
	c.Limit, c.SpindleHours = p.limit, x[colHours]
	for i := range Axes {
		if measured[i] {
			c.values[i] = Value{MMPerM: x[colTilt+2*i], U: x[colTiltU+2*i]}
			c.Axis[i] = &c.values[i]
		}
	}
	if !math.IsNaN(celsius) {
		c.celsius = celsius
		c.TemperatureC = &c.celsius
	}
	return &c.Check, nil
}

// wholeCheck is a check with what it points to.
type wholeCheck struct {
	Check
	values  [len(Axes)]Value
	celsius float64
}

// place is room for one more check. They are made many at a time: a hundred thousand would keep the garbage collector
// busy.
func (p *csvParser) place() *wholeCheck {
	const many = 512
	if len(p.places) == 0 {
		p.places = make([]wholeCheck, many)
	}
	c := &p.places[0]
	p.places = p.places[1:]
	return c
}

func (p *csvParser) add(c *Check, at time.Time) {
	c.Time = at
	if h := c.SpindleHours; finite(h) {
		if h < p.hours {
			p.note("hours")
		}
		p.hours = h
	}
	p.h.Undated = 0
	p.h.Entries = append(p.h.Entries, Entry{Check: c, Place: p.line})
}

func validText(s string) bool {
	return len(s) < 1000 && strings.ToValidUTF8(s, "") == s &&
		!strings.ContainsFunc(s, func(r rune) bool { return r < ' ' && r != '\t' && r != '\n' && r != '\r' })
}

// note counts what is warned of once.
func (p *csvParser) note(code string) {
	if p.count[code]++; p.count[code] == 1 {
		p.noted[code] = p.line
	}
}

// conclude turns what was noted into warnings.
func (p *csvParser) conclude() {
	for _, w := range []struct{ code, name, text string }{
		{"clock", "clock_not_set",
			"%d dated before 2000: the clock had not been set; left out, since their dates are not known"},
		{"no_u", "no_uncertainty",
			"%d without an uncertainty: how far a single check can be trusted is learned from the scatter alone"},
		{"zero_u", "zero_uncertainty", "%d with an uncertainty of zero, which no measurement has: taken as not known"},
		{"hours", "hours_went_back", "%d where the hour counter went back: use is counted from 0 there"},
	} {
		if n := p.count[w.code]; n > 0 {
			text := fmt.Sprintf("line %d: "+w.text, p.noted[w.code], n)
			p.h.Warnings = append(p.h.Warnings, sweep.Warning{Code: w.name, Text: text})
		}
	}
	p.h.Warnings = append(p.h.Warnings, p.h.Look("line")...)
}
