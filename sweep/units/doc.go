// Package units holds the quantities tramd measures in: lengths, slopes, spindle angles and tolerances, with their
// parsers and their ways of being shown.
//
// A length read from an indicator is an integer number of nanometres, so that the steps indicators have (0.001 mm,
// 0.0005 mm, 0.00005 in) are exact and sums do not depend on their order. A slope is dimensionless (mm per mm), which
// for the small leans of a spindle is the angle in radians: at 1 mm/m the two differ by three parts in ten million.
//
// The international inch is exactly 25.4 mm (ISO 80000-3). A full turn is 360 degrees, 21600 arc minutes or
// 1296000 arc seconds.
package units
