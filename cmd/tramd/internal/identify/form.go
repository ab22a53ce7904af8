package identify

import (
	"fmt"
	"slices"
	"strings"
)

// column is one part of all lines.
type column struct {
	kind    tokenKind
	texts   map[string]int
	lengths map[int]bool
	width   int // of all texts; 0: they differ
	field   int // from the end of the part before to the end of this; 0: it differs
	pointed bool
}

// formOf reads a form off lines that are all built alike: parts in columns first, which a lost character cannot pass
// for, then parts of any width.
func formOf(lines []string, end string) (guess, bool) {
	if cols, ok := columns(lines, true); ok {
		if g, ok := formIn(cols, true, end); ok {
			return g, true
		}
	}
	if cols, ok := columns(lines, false); ok {
		return formIn(cols, false, end)
	}
	return guess{}, false
}

func formIn(cols []column, fixed bool, end string) (guess, bool) {
	value := valueColumn(cols)
	if value < 0 {
		return guess{}, false
	}
	var form strings.Builder
	var extra []string
	g := guess{what: "text of a form of its own", rank: 39}
	hasUnit := false
	for i, c := range cols {
		constant := len(c.texts) == 1 && (!fixed || c.lengths[c.field])
		if fixed {
			c.width = c.field
		}
		only := firstKey(c.texts)
		switch {
		case i == value:
			if fixed && (len(c.lengths) > 1 || !c.lengths[c.field]) {
				fmt.Fprintf(&form, "{value:%d}", c.field)
			} else {
				form.WriteString("{value}")
			}
		case c.kind == blanks:
			form.WriteString(" ")
		case c.kind == word && i > value && allUnits(c.texts):
			hasUnit = true
			if otherwise := spelled(c.texts); otherwise != "" {
				extra = append(extra, "units = { "+otherwise+" }\n")
			}
			if c.width > 0 && i+1 < len(cols) && cols[i+1].kind != blanks {
				fmt.Fprintf(&form, "{unit:%d}", c.width)
			} else {
				form.WriteString("{unit}")
			}
		case c.kind == word && i > value && anyOther(c.texts):
			return g, false // some other quantity
		case c.kind == mark && signs(c.texts):
			form.WriteString("{sign}")
		case constant:
			form.WriteString(quoteForm(only))
		case i < value && (c.kind == word || c.kind == number) && len(c.texts) <= mostChannels:
			if c.width > 0 {
				fmt.Fprintf(&form, "{channel:%d}", c.width)
			} else {
				form.WriteString("{channel}")
			}
		case c.width > 0:
			fmt.Fprintf(&form, "{any:%d}", c.width)
			g.notes = append(g.notes,
				fmt.Sprintf(
					"what %q and the like mean is not known: if a letter marks readings that are not good, write {flag:%d} there and good_flags", only, c.width))
		default:
			return g, false
		}
	}
	if !cols[value].pointed {
		if count(cols, number) > 1 {
			return g, false
		}
		extra = append(extra, "decimals = 3\n")
		g.notes = append(
			g.notes,
			"the numbers have no decimal point: decimals = 3 is a guess; move the plunger by a known way and compare")
	}
	if !hasUnit {
		g.notes = append(g.notes, "no unit is sent: millimetres are a guess; compare with the display")
	}
	g.table = "[indicator.pattern]\nform = " + literal(form.String()) + "\n" + strings.Join(extra, "")
	if end != "" {
		g.table += "end = " + literal(quoteForm(end)) + "\n"
	}
	return g, !strings.ContainsAny(form.String(), "'\x7f")
}

// columns lays the lines over each other; false when they are not built alike. In fixed columns, each part ends in one
// place in all lines, and the blanks before a number belong to it.
func columns(lines []string, fixed bool) ([]column, bool) {
	var cols []column
	var ends []int
	for n, l := range lines {
		if len(l) > 60 {
			return nil, false
		}
		ts := tokens(strings.TrimRight(l, " \t"))
		if fixed {
			ts = slices.DeleteFunc(ts, func(t token) bool {
				return t.kind == blanks && t.end < len(l) && numberAt(l, t.end) > t.end
			})
		} else if len(ts) > 0 && ts[0].kind == blanks {
			ts = ts[1:] // blanks around a line are not looked at
		}
		if n > 0 && len(ts) != len(cols) {
			return nil, false
		}
		from := 0
		for i, t := range ts {
			if n == 0 {
				cols = append(cols, column{kind: t.kind, texts: map[string]int{}, lengths: map[int]bool{},
					width: len(t.text), field: t.end - from, pointed: true})
				ends = append(ends, t.end)
			}
			c := &cols[i]
			if c.kind != t.kind || fixed && (ends[i] != t.end || t.end-from != c.field) {
				return nil, false
			}
			c.texts[t.text]++
			c.lengths[len(t.text)] = true
			if len(t.text) != c.width {
				c.width = 0
			}
			c.pointed = c.pointed && strings.ContainsAny(t.text, ".,")
			from = t.end
		}
	}
	return cols, len(cols) > 0 && count(cols, number) <= 3
}

// valueColumn finds the one number that is a reading, or -1.
func valueColumn(cols []column) int {
	value, pointed, varying := -1, 0, 0
	for i, c := range cols {
		if c.kind != number || !c.pointed {
			continue
		}
		value = i
		pointed++
	}
	if pointed == 1 {
		return value
	}
	if pointed > 1 {
		return -1
	}
	for i, c := range cols {
		if c.kind == number && (len(c.texts) > 1 || count(cols, number) == 1) {
			value = i
			varying++
		}
	}
	if varying == 1 && len(cols[value].texts) > 2 && !cols[value].lengths[1] && !cols[value].lengths[2] &&
		!cols[value].lengths[3] {
		return value
	}
	return -1
}

func count(cols []column, kind tokenKind) int {
	n := 0
	for _, c := range cols {
		if c.kind == kind {
			n++
		}
	}
	return n
}

func firstKey(m map[string]int) string {
	best := ""
	for k, n := range m {
		if best == "" || n > m[best] || n == m[best] && k < best {
			best = k
		}
	}
	return best
}

func allUnits(texts map[string]int) bool {
	for t := range texts {
		if _, ok := lengthUnits[t]; !ok {
			return false
		}
	}
	return true
}

func anyOther(texts map[string]int) bool {
	for t := range texts {
		if otherUnits[t] {
			return true
		}
	}
	return false
}

// spelled returns the entries of a table for units that are not spelled as on the wire of most.
func spelled(texts map[string]int) string {
	var out []string
	for _, t := range []string{"Mm", "inch", "INCH", "Inch", "In"} {
		if texts[t] > 0 {
			out = append(out, fmt.Sprintf("%q = %q", t, lengthUnits[t]))
		}
	}
	if len(out) == 0 {
		return ""
	}
	for _, t := range []string{"mm", "MM", "in", "IN", "um", "UM"} {
		if texts[t] > 0 {
			out = append(out, fmt.Sprintf("%q = %q", t, strings.ToLower(t)))
		}
	}
	return strings.Join(out, ", ")
}

func signs(texts map[string]int) bool {
	for t := range texts {
		if t != "+" && t != "-" {
			return false
		}
	}
	return true
}
