package session

import "time"

// Recorded is what is told of a sweep that was recorded elsewhere and is to be brought into the record.
type Recorded struct {
	Name         string // to be shown
	At           time.Time
	Purpose      string   // "check" or "adjust"
	TemperatureC *float64 // of the machine at that time, in degrees Celsius; nil: not known
	Again        bool     // even if the same readings were brought in before
}
