package advice

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"tramd/sweep/units"
)

// maxLog bounds a log of moves.
const maxLog = 4 << 20

// ReadLog reads a log of measurements and moves (JSON). It refuses what cannot be meant, with its line, its
// field and what to write instead.
func ReadLog(r io.Reader) (Problem, error) {
	text, err := io.ReadAll(io.LimitReader(r, maxLog+1))
	if err != nil {
		return Problem{}, err
	}
	if len(text) > maxLog {
		return Problem{}, fmt.Errorf("the log is longer than %d MiB; keep the last few hundred measurements",
			maxLog>>20)
	}
	if len(strings.TrimSpace(string(text))) == 0 {
		return Problem{}, errors.New(
			`the log is empty; write {"tolerance":"0.03/300","adjusters":[...],"history":[...]}`)
	}
	root, err := readTree(text)
	if err != nil {
		return Problem{}, err
	}
	l := logReader{lines: map[string]int{}}
	p := l.problem(root)
	if l.err != nil {
		return Problem{}, l.err
	}
	if err := p.Validate(); err != nil {
		return Problem{}, l.locate(err)
	}
	return p, nil
}

// logReader takes a tree apart; the first mistake stays in err.
type logReader struct {
	err   error
	lines map[string]int
}

// locate puts the line to a mistake that was found in the values.
func (l *logReader) locate(err error) error {
	var f FieldError
	switch {
	case errors.As(err, &f):
		for at := f.Place; at != ""; at = at[:max(0, strings.LastIndexAny(at, ".["))] {
			if line, ok := l.lines[at]; ok {
				return lineError{line, err}
			}
		}
	case errors.Is(err, ErrNoTolerance):
		return fmt.Errorf("tolerance: %w", err)
	case errors.Is(err, ErrNothingMeasured):
		return fmt.Errorf("history: %w", err)
	}
	return err
}

func (l *logReader) bad(n *node, place, format string, args ...any) {
	if l.err == nil {
		l.err = lineError{n.line, bad(place, format, args...)}
	}
}

// object returns the fields of an object and refuses unknown ones.
func (l *logReader) object(n *node, place string, known ...string) map[string]*node {
	out := map[string]*node{}
	if n.value != json.Delim('{') {
		l.bad(n, place, "is %s; write an object {...}", n.kind())
		return out
	}
	for i, k := range n.keys {
		l.lines[join(place, k)] = n.inner[i].line
		if len(known) > 0 && !slices.Contains(known, k) {
			l.bad(n.inner[i], join(place, k), "unknown field; the fields here are %s", strings.Join(known, ", "))
		}
		out[k] = n.inner[i]
	}
	return out
}

func join(place, key string) string {
	if place == "log" {
		return key
	}
	return place + "." + key
}

func (l *logReader) list(n *node, place string) []*node {
	if n == nil || n.value == nil {
		return nil
	}
	if n.value != json.Delim('[') {
		l.bad(n, place, "is %s; write a list [...]", n.kind())
		return nil
	}
	for i, item := range n.inner {
		l.lines[fmt.Sprintf("%s[%d]", place, i)] = item.line
	}
	return n.inner
}

func (l *logReader) text(n *node, place string) string {
	if n == nil || n.value == nil {
		return ""
	}
	s, ok := n.value.(string)
	if !ok {
		l.bad(n, place, `is %s; write text in "quotes"`, n.kind())
	}
	return s
}

func (l *logReader) number(n *node, place string) float64 {
	num, ok := n.value.(json.Number)
	if !ok {
		l.bad(n, place, "is %s; write a number", n.kind())
		return 0
	}
	v, err := num.Float64()
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		l.bad(n, place, "%s is out of range of any number; write a smaller one", num)
		return 0
	}
	return v
}

// optional returns 0 for what is not written.
func (l *logReader) optional(n *node, place string) float64 {
	if n == nil {
		return 0
	}
	return l.number(n, place)
}

func (l *logReader) problem(root *node) Problem {
	var p Problem
	f := l.object(root, "log", "tolerance", "adjusters", "history", "note")
	if n := f["tolerance"]; n != nil {
		t, err := units.ParseTolerance(l.text(n, "tolerance"))
		if err != nil {
			l.bad(n, "tolerance", "%v", err)
		}
		p.Tolerance = t
	}
	for i, n := range l.list(f["adjusters"], "adjusters") {
		p.Adjusters = append(p.Adjusters, l.adjuster(n, fmt.Sprintf("adjusters[%d]", i)))
	}
	var names []string
	for _, a := range p.Adjusters {
		names = append(names, a.Name)
	}
	for i, n := range l.list(f["history"], "history") {
		p.History = append(p.History, l.entry(n, fmt.Sprintf("history[%d]", i), names))
	}
	return p
}

func (l *logReader) adjuster(n *node, at string) Adjuster {
	f := l.object(n, at, "name", "unit", "tilt_mm_per_m", "nod_mm_per_m", "step", "stock_mm", "plus", "minus", "notes",
		"loosens_head", "note")
	a := Adjuster{
		Name: l.text(f["name"], at+".name"), Unit: l.text(f["unit"], at+".unit"),
		Tilt: l.optional(f["tilt_mm_per_m"], at+".tilt_mm_per_m"),
		Nod:  l.optional(f["nod_mm_per_m"], at+".nod_mm_per_m"),
		Step: l.optional(f["step"], at+".step"),
		Words: Words{Plus: l.text(f["plus"], at+".plus"), Minus: l.text(f["minus"], at+".minus"),
			Notes: l.text(f["notes"], at+".notes")},
	}
	if b := f["loosens_head"]; b != nil {
		yes, ok := b.value.(bool)
		if !ok {
			l.bad(b, at+".loosens_head", "is %s; write true or false", b.kind())
		}
		a.Words.Loosens = yes
	}
	for k, s := range l.list(f["stock_mm"], at+".stock_mm") {
		a.StockMM = append(a.StockMM, l.number(s, fmt.Sprintf("%s.stock_mm[%d]", at, k)))
	}
	return a
}

func (l *logReader) entry(n *node, at string, names []string) Entry {
	var e Entry
	f := l.object(n, at, "tilt_mm_per_m", "nod_mm_per_m", "u_mm_per_m", "moved", "note")
	lean := func(key string) float64 {
		v := f[key]
		switch {
		case v == nil:
			l.bad(n, at+"."+key, "missing; write the measured lean in mm/m, or null for an axis that was not measured")
			return 0
		case v.value == nil:
			return math.NaN()
		}
		return l.number(v, at+"."+key)
	}
	e.Tilt, e.Nod = lean("tilt_mm_per_m"), lean("nod_mm_per_m")
	if f["u_mm_per_m"] == nil {
		l.bad(n, at+".u_mm_per_m",
			"missing; write the standard uncertainty of the lean in mm/m (`tramd fit --json` gives it)")
	} else {
		e.TiltU = l.number(f["u_mm_per_m"], at+".u_mm_per_m")
		e.NodU = e.TiltU
	}
	if m := f["moved"]; m != nil && m.value != nil {
		e.Moved = map[string]float64{}
		for name, v := range l.object(m, at+".moved") {
			if !slices.Contains(names, name) {
				l.bad(v, at+".moved", "%q is not among the adjusters (%s); correct the name, or describe it there",
					name, strings.Join(names, ", "))
				continue
			}
			e.Moved[name] = l.number(v, at+".moved."+name)
		}
	}
	return e
}
