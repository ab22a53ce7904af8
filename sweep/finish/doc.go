// Package finish says what a lean of the spindle does to the work.
//
// # Geometry
//
// A flat-faced cutter of radius R = D/2 whose axis leans by (Tilt, Nod) has its face in the plane z = -(Tilt*x + Nod*y)
// about its centre. Carried along a feed direction, with a the lean along the feed and c the lean across it, it leaves
// behind, at the distance y from the middle of the pass, the lowest point of the chord that passes there:
//
//	p(y) = -c*y - |a|*sqrt(R*R - y*y)
//
// Leaning along the feed alone that is a hollow, (D/2)*|a|*(1 - sqrt(1 - (w/D)^2)) deep over a width w and (D/2)*|a|
// over the whole face. Leaning across it alone, neighbouring passes a distance e apart meet in a step of e*|c|. With
// both, what stands up between passes is found where p(y) and p(y-e) meet, or at the edge of a pass where they do not;
// the lowest point is
// -R*sqrt(a*a + c*c).
//
// A nose radius, runout, deflection and the marks of single teeth are left out: this is what the lean alone does.
//
// # Units
//
// Lengths in millimetres, slopes dimensionless.
package finish
