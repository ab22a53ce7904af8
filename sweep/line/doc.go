// Package line is what measurements along a straight line share, a traverse along an edge and a travel of the head or
// the table: the setup, the columns of a recorded file, the budget of a slope, the profile of a form with its
// uncertainty, and the warnings.
//
// Positions and readings are in mm, slopes in mm per mm, a larger reading means the surface is nearer. The noise model,
// the rejection of what is no surface and the averaging over what is not known are those of a sweep (package mixed).
package line
