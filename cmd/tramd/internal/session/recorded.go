package session

import "time"

// Recorded is what is known of a measurement that was recorded elsewhere and is to be brought into the record.
type Recorded struct {
	Name         string // to be shown
	At           time.Time
	Purpose      string   // "check" or "adjust"
	TemperatureC *float64 // of the machine at that time, in degrees Celsius; nil: not known
	Kind         string   // what was measured, where its columns do not say; empty: the columns say it
	Subject      string   // which of them was measured, by its name; empty: there is only one
	Tolerance    string   // as written; empty: the machine's
	Own          []byte   // JSON: what a measurement of its kind needs beside the setup; nil: nothing
	Again        bool     // even if the same readings were brought in before
}
