package session

import (
	"context"
	"time"
)

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

// Imported takes note of a finished sweep that was brought into the store from elsewhere. It becomes the last check
// only where it is younger than that.
func (s *Session) Imported(ctx context.Context, r LastRun) error {
	return s.ask(ctx, func() {
		s.counts[RunKey{Sweeping, string(Finished)}]++
		if s.last == nil || r.At.After(s.last.At) {
			s.last = &r
		}
	})
}

// ImportedOther takes note of a finished measurement of another kind that was brought into the store from elsewhere.
func (s *Session) ImportedOther(ctx context.Context, kind string) error {
	return s.ask(ctx, func() { s.counts[RunKey{kind, string(Finished)}]++ })
}

// Healed takes note of a finished sweep whose result was made again, where it is the last check or younger.
func (s *Session) Healed(ctx context.Context, r LastRun) {
	// An error here means that the session has stopped: it has no readers then.
	_ = s.ask(ctx, func() {
		if s.last == nil || r.Run == s.last.Run || r.At.After(s.last.At) {
			s.last = &r
		}
	})
}

// Redate gives the last run a new date: the clock was set after it was taken. Another run is left alone.
func (s *Session) Redate(last LastRun) {
	// An error here means that the session has stopped: it has no readers then.
	_ = s.ask(context.Background(), func() {
		if s.last != nil && s.last.Run == last.Run {
			s.last = &last
		}
	})
}
