// Package runs works on stored runs: it fits them again, advises on them, separates spindle and plate, exports them and
// imports recorded ones. The daemon and the offline commands share it.
package runs
