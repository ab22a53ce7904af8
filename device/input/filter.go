package input

import (
	"time"

	"tramd/device"
)

// State is what is known of a line.
type State uint8

// States of a line.
const (
	Unknown State = iota
	Off
	On
)

func (s State) String() string { return [...]string{"unknown", "off", "on"}[s] }

func stateOf(on bool) State {
	if on {
		return On
	}
	return Off
}

// Filter turns levels into a state. Times are on the steady clock. It is for one goroutine.
type Filter struct {
	Debounce time.Duration // for which a change must hold; 0: each reading counts
	Stale    time.Duration // after which a reading is too old

	state State
	since device.Stamp // of the state
	next  State        // what is read, where it differs; Unknown: it does not
	began device.Stamp // since when it is read
	last  device.Stamp // of the latest reading
	read  bool
	on    time.Duration
}

// Level takes a reading. One that is older than the latest is passed over.
func (f *Filter) Level(at device.Stamp, on bool) {
	switch {
	case f.read && at < f.last:
		return
	case f.read && time.Duration(at-f.last) > f.Stale:
		f.lose(f.last + device.Stamp(f.Stale))
	case f.state == On:
		f.on += time.Duration(at - f.last)
	}
	f.read, f.last = true, at
	s := stateOf(on)
	switch {
	case s == f.state:
		f.next = Unknown
		return
	case s != f.next:
		f.next, f.began = s, at
	}
	if time.Duration(at-f.began) >= f.Debounce {
		f.state, f.since, f.next = s, at, Unknown
	}
}

// Lost says that the line cannot be read.
func (f *Filter) Lost(at device.Stamp) {
	f.lose(at)
	f.read = false
}

func (f *Filter) lose(at device.Stamp) {
	f.next = Unknown
	if f.state != Unknown {
		f.state, f.since = Unknown, at
	}
}

// At is the state at a moment, and since when it is that.
func (f *Filter) At(now device.Stamp) (State, device.Stamp) {
	if end := f.last + device.Stamp(f.Stale); f.state != Unknown && now > end {
		return Unknown, end
	}
	return f.state, f.since
}

// OnFor is how long the line has been on in all, as far as it was read: nothing is counted across a gap. Both edges
// count a debounce time late, so that takes nothing from it.
func (f *Filter) OnFor() time.Duration { return f.on }
