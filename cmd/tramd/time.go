package main

import "time"

// localTime returns a moment as a person at the machine reads it: local time with its zone.
func localTime(t time.Time) string { return t.Local().Format("2006-01-02 15:04:05 MST") }

// clockTime is localTime, marked where the computer's clock was not set.
func clockTime(t time.Time, set bool) string {
	if !set {
		return localTime(t) + " (clock not set)"
	}
	return localTime(t)
}
