// Package charts holds plain methods that anybody can check by hand, as a second opinion beside the drift model: the
// individuals chart and the EWMA chart (NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 and 6.3.2.4), the
// trend test of Mann and Kendall, and the slope of Theil and Sen with Sen's interval. They take plain figures of one
// axis, in any unit, in the order of time; none of them allows for checks that differ in uncertainty.
package charts
