package session

import (
	"testing"
	"time"

	"tramd/device"
	"tramd/sweep/units"
)

// A jump that one line alone shows reaches no limit and no aim; one that stays does with the second line.
func TestOneLineAloneMovesNothing(t *testing.T) {
	const tenth = device.Stamp(100 * time.Millisecond)
	for _, x := range []struct {
		name          string
		every         device.Stamp
		um            []int // readings
		agreed, shown int
	}{
		{"one jump", tenth, []int{1000, 1001, 1000, 9000}, 1001, 1001},
		{"after it", tenth, []int{1000, 1001, 9000, 1002}, 1002, 1002},
		{"it stays", tenth, []int{1000, 1001, 9000, 9001}, 9000, 9001},
		{"the second line is wrong", tenth, []int{1000, 9000}, 1000, 9000},
		{"a small jump", tenth, []int{1000, 1001, 1000, 1064}, 1001, 1001},
		{"after a small jump", tenth, []int{1000, 1001, 1064, 1002}, 1002, 1002},
		{"a screw that begins to turn", tenth, []int{1000, 1001, 1000, 1030, 1060}, 1030, 1060},
		{"a hand at rest", tenth, []int{1000, 1003, 998, 1004}, 1003, 1004},
		{"an arm that is moved", tenth, []int{1000, 1010, 1020, 1030}, 1020, 1030},
		{"each is sent by a button", 20 * tenth, []int{1000, 9000}, 9000, 9000},
		{"the first", tenth, []int{1000}, 1000, 1000},
	} {
		var l latest
		for i, um := range x.um {
			l.take(device.Stamp(1e9)+device.Stamp(i)*x.every, units.Length(um)*units.Micrometre)
		}
		if a, s := l.agreed(), l.shown(); a != units.Length(x.agreed)*units.Micrometre ||
			s != units.Length(x.shown)*units.Micrometre {
			t.Errorf("%s: agreed %v, shown %v; want %d and %d um", x.name, a, s, x.agreed, x.shown)
		}
		if l.n != uint64(len(x.um)) {
			t.Errorf("%s: %d readings", x.name, l.n)
		}
	}
}
