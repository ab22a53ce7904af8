package frame

import (
	"errors"
	"fmt"
	"slices"
)

// Problem is one mistake in the description of a frame: the key it stands at, and what to write there.
type Problem struct{ Key, Text string }

type problems []Problem

func (ps *problems) add(key, format string, args ...any) {
	*ps = append(*ps, Problem{key, fmt.Sprintf(format, args...)})
}

// err joins them for those who have no lines to point at.
func joinProblems(table string, ps []Problem) error {
	var errs []error
	for _, p := range ps {
		errs = append(errs, fmt.Errorf("%s.%s: %s", table, p.Key, p.Text))
	}
	return errors.Join(errs...)
}

func oneOf(s string, words ...string) bool { return slices.Contains(words, s) }

// quantity says what a count of the wire means.
type quantity struct {
	kind  Kind
	scale scale
	count float64 // of RunTime: the milliseconds of one count
}

func (q quantity) of(count int64) (int64, bool) {
	switch q.kind {
	case Count:
		return count, true
	case RunTime:
		return runTime(float64(count) * q.count)
	}
	return q.scale.length(count)
}

// ofFraction is of for a value that is itself a fraction.
func (q quantity) ofFraction(value float64) (int64, bool) {
	if q.kind == RunTime {
		return runTime(value * q.count)
	}
	return q.scale.lengthOf(value)
}

// quantity reads the scale of an indicator; an encoder and a linear scale give bare counts.
func (ps *problems) quantity(role Role, text string) quantity {
	if role.counts() {
		if text != "" {
			ps.add("scale", "%q; %s source gives counts: remove it", text, article(role))
		}
		return quantity{kind: Count}
	}
	if role == RoleMachine {
		count, err := parseRunTime(text)
		if err != nil {
			ps.add("scale", "%v", err)
		}
		return quantity{kind: RunTime, count: count}
	}
	if text == "" {
		ps.add("scale", "missing; %s", scaleCure)
		return quantity{kind: Length}
	}
	s, err := parseScale(text)
	if err != nil {
		ps.add("scale", "%v", err)
	}
	return quantity{kind: Length, scale: s}
}

// gap checks a silence in milliseconds. Below the least one the pauses that adapters and a busy machine make within a
// frame would cut it.
func (ps *problems) gap(ms float64) {
	if ms != 0 && !(ms >= 5 && ms <= 1000) {
		ps.add(
			"gap_ms",
			"%v; write the silence between frames, 5 to 1000 ms, or remove it to find frames by what is fixed in them",
			ms)
	}
}

// article returns the name of a role with its article.
func article(r Role) string {
	if r == RoleAngle || r == RoleIndicator {
		return "an " + r.String()
	}
	return "a " + r.String()
}
