// Package mixed is the full measurement model of a sweep: the lean of the spindle with an interval that holds the truth
// as often as it says.
//
// # The model
//
// A reading is the lean and an offset (fixed), the form of the surface (random harmonics 2 and up, falling off with
// their order), a slow drift (random low polynomials of time), noise that is correlated in time (exponentially, so
// Markov, or over many times at once, as 1/f noise is), what a coarse display rounds off, noise within a band of
// frequencies where there is some, and white noise. Beside these it has parts that are there or not: a steady wave in
// time, a fine wave of the table, a dent or a burr, a bump in time, plates of unequal height, jumps. The slow noise of
// two indicators on one bar may go together: both rise and fall, or one gains what the other loses. Swept both ways
// round, the model also has an offset by direction, the play of the plunger and a delay between the angle and the
// reading. This is a linear mixed model; Henderson's equations solve it for given variances, and the restricted
// likelihood of those variances, with weak priors, weights a grid of them over which the lean is averaged, and over
// whether each part is there. A t distribution with matched degrees of freedom then gives the interval.
//
// # The way through
//
//	check     refuse what is not a sweep, order it by indicator              track.go
//	segments  cut it into short straight stretches                           segment.go
//	clean     robust start; leave out flats, spikes, arcs                    robust.go, reject.go, flat.go
//	knocks    before the arcs: jumps that stay, by their marginal likelihood  knock.go, knock_scan.go, plates.go
//	blocks    join what is left into a few hundred means                     block.go
//	design    write the columns, whiten them by the noise of a grid point    design.go, direction.go, filter.go
//	pair      put two indicators to the filter as their sum and difference   pair.go
//	search    walk the grid, average the lean                                solve.go, grid.go, posterior.go, average.go
//	steps     give the rounding of a coarse display its own part of the noise  rounding.go
//	parts     find waves, dents, bumps, plates, jumps in what is left;       part.go, part_find.go, part_hump.go,
//	          search again with each; average over whether it is there       part_plates.go, wave_spectrum.go, average.go
//	band      find noise within a band of frequencies; search again with it  band.go, band_find.go, kalman.go
//	swings    where there is none, join blocks until a tremor is averaged out  swing.go
//	direction weigh play, a step by the way round, late angles, and none     solve.go, direction.go, stuck.go
//	filter    carry a fit on block by block, by the same equations          filter_course.go, filter_live.go, filter_result.go
//	result    one belief: intervals, decision, budget; form, warnings        conclude.go, components.go, describe.go, turns.go
//
// Lengths that the model judges by are in steps of the display (input.step), so the unit of the readings changes
// nothing. Only the repeatability of a handful of stations, which they cannot show themselves, is in millimetres.
//
// Everything after blocks costs the same for two thousand readings and for a million; everything before is linear.
//
// # Sources
//
// Henderson 1975, Best linear unbiased estimation and prediction under a selection model, Biometrics 31:423-447.
// Patterson and Thompson 1971, Recovery of inter-block information when block sizes are unequal, Biometrika 58:545-554.
// Lomb 1976, Least-squares frequency analysis of unequally spaced data, Astrophysics and Space Science 39:447-462.
// Rousseeuw 1984, Least median of squares regression, JASA 79:871-880. Rousseeuw and Van Driessen 2006, Computing LTS
// regression for large data sets, Data Mining and Knowledge Discovery 12:29-45. All cited from memory.
package mixed
