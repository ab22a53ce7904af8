package setup

import (
	"fmt"
	"strings"

	"tramd/cmd/tramd/internal/config"
)

// adjuster is one thing that a person moves to square the spindle; numbers stand as they were written.
type adjuster struct {
	name, kind, leans     string
	lever, spacing, pitch string
	plus, minus           string // how an amount is said; empty: the program's own words
	loosens               bool
}

// usualAdjusters are proposed, in this order.
var usualAdjusters = []adjuster{
	{name: "swing", kind: config.KindSwing, leans: "right", lever: "240", spacing: "140", pitch: "1"},
	{name: "shim", kind: config.KindShim, leans: "back", lever: "240", spacing: "140", pitch: "1"},
}

func (d *adjuster) text(b *strings.Builder) {
	fmt.Fprintf(
		b,
		"\n[[adjuster]]\nname = %s\nkind = %s\nleans = %s   # where a positive amount takes the spindle's upper end\n",
		quote(d.name), quote(d.kind), quote(d.leans))
	switch d.kind {
	case config.KindShim:
		fmt.Fprintf(b, "spacing_mm = %s   # between the bolt rows\n", d.spacing)
	case config.KindScrew:
		fmt.Fprintf(b, "lever_mm = %s   # from the pivot to the screw\npitch_mm = %s\n", d.lever, d.pitch)
	default:
		fmt.Fprintf(b, "lever_mm = %s   # from the pivot to where the movement is measured\n", d.lever)
	}
	if d.plus != "" {
		fmt.Fprintf(b, "plus = %s\nminus = %s\n", quote(d.plus), quote(d.minus))
	}
	if d.loosens {
		b.WriteString("loosens_head = true\n")
	}
}

// askAdjusters asks what is moved to square the spindle, so that the advice can say by how much.
func (p *plan) askAdjusters(a *Prompter) error {
	question := "Describe what you move to square the spindle; then tramd says what to move and by how much"
	for i := 0; ; i++ {
		more, err := a.yes(question, false)
		if err != nil || !more {
			return err
		}
		question = "Another one"
		usual := usualAdjusters[min(i, len(usualAdjusters)-1)]
		if i >= len(usualAdjusters) {
			usual.name = fmt.Sprintf("adjuster-%d", i+1)
		}
		p.adjusters = append(p.adjusters, usual)
		if err := p.askAdjuster(a, i); err != nil {
			return err
		}
	}
}

func (p *plan) askAdjuster(a *Prompter, i int) error {
	d := &p.adjusters[i]
	key := func(k string) string { return fmt.Sprintf("adjuster.%d.%s", i, k) }
	if err := a.ask("Its name", d.name, p.set(key("name"), &d.name, nil, "adjuster")); err != nil {
		return err
	}
	if err := a.ask("Its kind (swing of a plate, shim behind a bolt row, screw)", d.kind,
		p.set(key("kind"), &d.kind, nil)); err != nil {
		return err
	}
	lengths := map[string][]func() error{
		config.KindSwing: {p.askLength(a, "From the pivot to where the movement is measured, mm", key("lever_mm"),
			&d.lever, key("kind"))},
		config.KindShim: {p.askLength(a, "From one bolt row to the other, mm", key("spacing_mm"), &d.spacing,
			key("kind"))},
		config.KindScrew: {p.askLength(a, "From the pivot to the screw, mm", key("lever_mm"), &d.lever, key("kind")),
			p.askLength(a, "How far one turn takes the screw, mm", key("pitch_mm"), &d.pitch, key("kind"))},
	}
	for _, ask := range lengths[d.kind] {
		if err := ask(); err != nil {
			return err
		}
	}
	if d.kind == config.KindShim {
		if err := a.ask("Behind which bolts a shim goes (lower, upper, left, right)", "lower", d.rows); err != nil {
			return err
		}
		a.say("  A shim behind the other row is an amount below 0.")
	}
	if err := a.ask("Where more of it takes the spindle's upper end (right, left, back, front)", d.leans,
		p.set(key("leans"), &d.leans, nil)); err != nil {
		return err
	}
	if d.kind == config.KindShim { // the bolts come loose for it in any case
		return nil
	}
	var err error
	d.loosens, err = a.yes("Can the head drop while it is loosened", false)
	return err
}

func (p *plan) askLength(a *Prompter, question, key string, at *string, also string) func() error {
	return func() error { return a.ask(question, *at, p.set(key, at, number, also)) }
}

// rows takes the bolt row that a shim of a positive amount goes behind, and says so in the advice's words.
func (d *adjuster) rows(row string) error {
	other := map[string]string{"lower": "upper", "upper": "lower", "left": "right", "right": "left"}[row]
	if other == "" {
		return fmt.Errorf("%q; write lower, upper, left or right", row)
	}
	d.plus, d.minus = "pack {} behind the "+row+" bolts", "pack {} behind the "+other+" bolts"
	return nil
}
