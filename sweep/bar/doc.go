// Package bar is a round bar, or the shank of a tool, that turns in the spindle under an indicator that stands still.
//
// At the height h an indicator reads a + e cos(angle - towards): e is how far the middle of the bar lies off the
// spindle's axis there, in the spindle's own frame, and twice e is the run-out that an indicator shows over a turn.
// Waves of two and more in a turn are the bar's roundness. e changes with the height by the angle between bar and axis:
// 0.05 mm over 25 mm is 2 mm/m (common practice, no source). Taken out and put back turned by 180 degrees in the
// collet, what the bar brings changes its sign and what the collet brings does not.
//
// A bar under an indicator is a sweep whose lean is the eccentricity, so each height is fitted by the model of a sweep.
package bar
