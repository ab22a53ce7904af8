// Package report writes what a machine's record comes to as one HTML file that prints on A4: the history with its
// tolerance, events and forecast, a control chart, the state of each axis, and how often to check, in words that can be
// put into a machine's manual. Nothing outside the file is needed to read it, and the same history gives the same file.
//
// Leans are in mm/m, times local.
package report
