// Package travel is an indicator at a bar, a square or the table while the machine moves: how the travel of the head or
// the table lies against the spindle or the table, and how straight it is.
//
// With the bodies of package stack, and p the direction of the side or of the movement, 0 along +X and 90 degrees along
// +Y:
//
//	bar     a - (n - t + s b).(cos p, sin p) h    an indicator that stands on the table, at a bar in the spindle
//	square  a - (t - m - s q).(cos p, sin p) h    an indicator on the head, at a square on the table
//	table   a + (c - m).(cos p, sin p) x          an indicator on the head, touching the table
//
// s is 1 as it stood at first and -1 once the spindle, or the square, was turned by 180 degrees: so what the artefact
// leans itself, b against the spindle or q against the table's normal, comes apart from the machine (reversal; Evans,
// Hocken and Estler 1996, CIRP Annals 45(2):617-634, from memory). Two sides opposite each other also take out how the
// artefact's thickness changes along it.
package travel
