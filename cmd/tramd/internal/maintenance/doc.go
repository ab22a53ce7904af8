// Package maintenance opens the record and keeps it well while the daemon runs: what a damaged file lost is fitted
// again, what was stored before the clock was set is dated, backups are made, old readings go, and the whole is looked
// through.
package maintenance
