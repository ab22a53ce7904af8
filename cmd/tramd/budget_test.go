package main

import (
	"testing"

	"tramd/sweep"
)

// Angles are told as they are on the machine, whatever the count of turns, and none where none is known.
func TestWhereReadingsWereLeftOut(t *testing.T) {
	for want, x := range map[string]sweep.Rejection{
		"3 readings, 48.8° to 53.4° (1.00 s to 1.50 s): hollow": {Code: "hollow", FromDeg: 48.8, ToDeg: 53.4, FromS: 1,
			ToS: 1.5, Readings: 3},
		"1 reading, at 218.6° (1.00 s to 1.00 s): spike up": {Code: "spike_up", FromDeg: 578.6, ToDeg: 578.6,
			FromS: 1, ToS: 1, Readings: 1},
		"2 readings, 350.0° to 5.0° (1.00 s to 1.50 s): raised": {Code: "raised", FromDeg: -370, ToDeg: -355, FromS: 1,
			ToS: 1.5, Readings: 2},
		"9 readings, all round (1.00 s to 7.00 s): duplicate": {Code: "duplicate", FromDeg: 0, ToDeg: 361, FromS: 1,
			ToS: 7, Readings: 9},
		"55 readings (27.75 s to 28.96 s): no angle": {Code: "no_angle", FromS: 27.75, ToS: 28.96,
			Readings: 55},
	} {
		if got := rejected(x); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}
