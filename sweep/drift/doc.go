// Package drift says what a history of checks is worth: where each axis lies now, how fast it moves, whether and since
// when something moved, and when the next check is due. It knows nothing of files or databases; a history comes in as
// checks and events in the order of their time, and everything said of a day uses nothing from later.
//
// # Model
//
// Tilt and nod are followed each by itself. With s(t) the true lean on an axis, a check k at time t reads
//
//	y_k = s(t_k) + e_k,   e_k with standard deviation sigma * sqrt(r_k)
//
// where e, the irregular, is everything that differs from check to check: the sweep's own uncertainty u_k and the new
// clamping of the arm. r_k grows with u_k and with how few degrees of freedom it rests on; sigma is learned. The truth
// is level + swing,
//
//	level(t+h) = level + slope*h + level disturbance, of variance q*q*h
//	slope(t+h) = slope + slope disturbance, of variance w*w*h; or the slope grows evenly, slope(t) = slope(0)*(1 + c*t),
//	             t from the first check on: wear that quickens has a curvature c
//	swing(t+h) = swing*exp(-h/tau) (settling), or the same kept alive by noise (a wander that is held back)
//
// where the slope at the first check has a normal prior of width b. The bank integrates over the sizes of the parts on
// a grid: every q with every b and every w or c, and fewer of them beside a swing; so a machine that trends and wanders
// at once is one like any other (processes.go). For each of more than a hundred settings runs an exact Kalman filter,
// sigma integrated out by its conjugate prior (so what is predicted has Student's distribution). Each weighs as much as
// its prior times how well it predicted the checks so far. Level, slope, dates and what an alarm does to them all come
// of this one posterior. Source of the filter: J. Durbin and S. J. Koopman, Time Series Analysis by State Space
// Methods, chapters 2 and 4 (chapter numbers from memory); of the bank: M. West and J. Harrison, Bayesian Forecasting
// and Dynamic Models, chapters 4 and 12 (from memory). The filter and what is believed are held against a library
// (structural_test.go).
//
// Where the spindle's hours are known and its use is uneven, whatever moves for good stands in the bank twice: by the
// calendar and by the hours. Which clock is right is so weighed like everything else (hours_test.go).
//
// # Temperature
//
// Where temperatures come with the checks, every hypothesis stands in the bank once more with a lean per kelvin to be
// learned beside it (a regressor: Durbin and Koopman, section 6.2, from memory), all of those together a fifth as
// likely before anything was seen. What the temperature explains is neither shift nor trend: the chart weighs it
// likewise, where it pays. Levels and what is expected are stated at the median of the temperatures recorded so far;
// dates reckon with as much of a swing as was seen, and as long as the record has not seen a year, with a part of the
// unseen (warmth.go). A check without a temperature is taken at the best guess, with less weight by what that may do.
// The lean is taken to follow the temperature at once: the sensor belongs on what leans, not into the air.
//
// # Uneven checks
//
// A check weighs by its own uncertainty and by what each new clamping adds to all of them; the latter is learned from
// how unlike good and poor checks scatter (clamping.go).
//
// # A change
//
// When the chart tells of a change, it is an intervention (split.go): beside every hypothesis stands one in which the
// level moved at that moment, or a new slope began; the other parts keep what they had learned. What follows says which
// is believed. The chart picks the likeliest moment of many, so an intervention at one given check counts as rare. So a
// machine that wanders is not taken for one that stood still between steps, and one that stood still before a step and
// after it is not taken for one that wanders.
//
// # Alarms
//
// The chart of each axis compares, at each check, "nothing happened" with a step or a ramp that began at any earlier
// check, mean and scatter unknown: the unknown-parameter change-point formulation (D. M. Hawkins, P. Qiu, C. W. Kang,
// Journal of Quality Technology 35 (2003) 355-366, from memory). Settling at the start of a segment is allowed for.
// What this costs in false alarms and how soon it finds a step stands in study.md.
//
// # Units
//
// Leans in mm/m, rates in mm/m per day, temperatures in degrees Celsius, times of day as time.Time, durations in days.
// The sign is that of the axis.
//
// # Concurrency
//
// A Tracker belongs to one goroutine. Nothing here reads a clock.
package drift
