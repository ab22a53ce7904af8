// Package sim is a simulated machine: truth in, bytes on two pseudo-terminals out. It stands behind the demo and the
// end-to-end tests, where the right answer must be known from the start.
//
// A machine has a spindle that leans by a Truth, an arm turned by hand, an indicator on the arm and an encoder on the
// spindle. At spindle angle th (0 deg = +X, 90 deg = +Y, counter-clockwise seen from above) the indicator reads, in mm,
//
//	z = offset + radius*(tilt*cos th + nod*sin th)/1000 + sum_k A_k*cos(k*th - phi_k) + slow noise + white noise
//
// with tilt and nod in mm/m, positive when the upper end of the spindle leans to +X and to +Y; so z is largest on the
// side to which the upper end leans. The sum over k >= 2 is the form of the table along the sweep circle.
//
// The package shares no code with the fit, on purpose: a sign or a factor wrong in one would then show against the
// other.
//
// A Machine may be used from any number of goroutines. It never waits for a reader of its ports.
package sim
