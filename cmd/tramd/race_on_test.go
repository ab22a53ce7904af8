//go:build race

package main

// memoryFactor is how much more memory the race detector may make of the same work (5 to 10 times, says its manual,
// go.dev/doc/articles/race_detector; some of what is counted is the program's file).
const memoryFactor = 4
