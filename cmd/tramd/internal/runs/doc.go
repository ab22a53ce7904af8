// Package runs is what is done with stored runs: they are fitted again, told apart, written out and advised on, and
// recorded ones are brought in. The daemon and the commands that work beside it, or without it, share it.
package runs
