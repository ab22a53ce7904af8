// Package sweep is the measurement itself: readings of an indicator carried round a circle, each with its spindle
// angle, become the lean of the spindle against the surface under it. It is pure: no files, ports, clocks or
// goroutines.
//
// # Geometry
//
// Machine axes as in ISO 841: +X to the operator's right, +Y away from the operator, +Z up along the spindle. The
// spindle angle is where the arm points: 0 at +X, 90 degrees at +Y, counter-clockwise seen from above. The spindle axis
// is the direction (Tilt, Nod, 1) with Tilt and Nod small, so each is positive when the spindle's upper end leans to +X
// or +Y. An indicator on an arm of radius r, mounted at phase p from the arm's zero, reads at the spindle angle th
//
//	z = c + r*(Tilt*cos(th+p) + Nod*sin(th+p)) + form(th+p) + drift(t) + noise
//
// and larger means the surface is nearer. Each indicator has its own c, r and p; the lean is shared. form is how the
// surface departs from a plane along the circle (harmonics 2 and up); a slope of the surface itself cannot be told from
// lean by one sweep.
//
// # Units
//
// Readings and radii are millimetres, angles are radians (unwrapped: several turns count on), times are seconds on a
// steady clock, slopes are dimensionless.
package sweep
