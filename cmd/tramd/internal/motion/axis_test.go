package motion

import (
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
)

// A carriage goes by millimetres: in its commands, in its limits and in what is said of it.
func TestACarriageGoesByMillimetres(t *testing.T) {
	p := Program{Axis: Carriage, Targets: []float64{0, 62.5, 0}, Move: []string{"G1 X{mm} F{feed}"}, Stop: "M0",
		LineEnd: "\n", Done: regexp.MustCompile("^ok$"), Feed: 3000, Low: 0, High: 100, Settle: time.Second,
		Ack: time.Second, Silent: time.Second}
	lines, _, err := p.Lines()
	if want := []string{"G1 X0.000 F3000", "G1 X62.500 F3000", "G1 X0.000 F3000"}; err != nil ||
		!slices.Equal(lines, want) {
		t.Errorf("%q, %v", lines, err)
	}
	m := NewMachine(p)
	if m.Start(0); !strings.Contains(m.Say(), "A motor moves to 0 mm (1 of 3). Keep clear.") {
		t.Errorf("it says %q", m.Say())
	}
	for want, spoil := range map[string]func(*Program){
		"no move command with {mm} in it": func(p *Program) { p.Move = []string{"G1 X{deg}"} },
		"the place at 120 mm lies outside the soft limits, 0 to 100": func(p *Program) {
			p.Targets = []float64{0, 120}
		},
		"a feed of 3001 mm a minute": func(p *Program) { p.Feed = 3001 },
		"a retract with {mm} in it": func(p *Program) {
			p.Retract, p.Stopped, p.RetractTime = []string{"G0 X{mm}"}, regexp.MustCompile("stopped"), time.Second
		},
		`{deg.2} is not known; write {mm}`: func(p *Program) { p.Begin = []string{"G0 A{deg.2}"} },
	} {
		spoiled := p
		if spoil(&spoiled); spoiled.Check() == nil || !strings.Contains(spoiled.Check().Error(), want) {
			t.Errorf("%v, want %q", spoiled.Check(), want)
		}
	}
}
