// Package zone says how far measured points depart from a straight line or a plane: about the least-squares line, about
// the line through the end points, and by the minimum zone, the smallest distance of two parallel lines or planes
// between which all points lie (ISO 1101; the three reference lines as in ISO 230-1; both from memory). Departures are
// taken along the reading, which for the slopes of machines differs from square to the line by less than a millionth.
//
// It is pure arithmetic on places and heights in one unit, exact to rounding.
package zone
