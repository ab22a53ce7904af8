package session

import (
	"testing"
	"time"
)

// A session whose lock is never given back must stop beating: that is what a watchdog sees of it.
func TestTheBeatStopsWhenTheLockIsHeld(t *testing.T) {
	s := newRig(t, time.Minute)
	beats := func() bool {
		before := s.Pulse()
		for range 60 {
			time.Sleep(50 * time.Millisecond)
			if p := s.Pulse(); p.Tick > before.Tick && p.Store > before.Store {
				return true
			}
		}
		return false
	}
	if !beats() {
		t.Fatal("a session with nothing to do does not beat")
	}
	s.mu.Lock()
	time.Sleep(300 * time.Millisecond) // a beat on its way ends
	held := s.Pulse().Tick
	time.Sleep(500 * time.Millisecond)
	if got := s.Pulse().Tick; got != held {
		t.Error("the session beats though its lock is held")
	}
	s.mu.Unlock()
	if !beats() {
		t.Error("it does not beat again")
	}
}
