// Package traverse is an indicator carried along a straight line, once or several times, on one line or on several
// parallel ones.
//
// A reading at the position x is a + b x + form(x): b is the slope against the edge that the indicator or its carriage
// is held against (parallelism, ISO 230-1), form is straightness, both from memory. Lines a distance apart give the
// twist, the difference of their slopes, and together a plane with its flatness. An edge turned end for end and face
// about shows its own form with the other sign: half the sum of the two readings is the way's, half the difference the
// edge's (reversal; Evans, Hocken and Estler 1996, CIRP Annals 45(2):617-634, from memory).
package traverse
