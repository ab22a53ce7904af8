// Package stack holds all leans that were measured between the parts of a machine against each other.
//
// The bodies are the spindle axis n, the head's travel t, the table's normal m and the normal c of the plane in which
// the cross travels move. Every measurement is the difference of two, in each plane by itself: spindle against table n
// - m, spindle against head travel n - t, head travel against table t - m, cross travels against table c - m. Around a
// closed chain they must add up to nothing; what is over is the closure. What the work sees is spindle against cross
// travels, n - c.
//
// The measurements are adjusted by least squares with their stated uncertainties (observations with the covariance of
// the result, as in JCGM 100:2008, 5.2 and H.2). They are held against each other by the sum of their squared
// residuals and, each by itself, against what the others say of it. Few degrees of freedom behind an uncertainty widen
// the intervals and the limits of both tests. It is pure.
package stack
