// Package jobsheet writes the record of one attended job, sweep, move, sweep, as one page that prints: how the spindle
// leaned before and after, how it got there, what was moved, with what it was measured, and what is left of the lean on
// the work. The page is whole in itself: no script, no outside asset.
package jobsheet
