package session

import (
	"sync/atomic"

	"tramd/device"
)

// Pulse is when the session last did each of the things it must always go on doing. It is read without the lock, so
// that a session which hangs differs from one that has nothing to do.
type Pulse struct {
	Tick  device.Stamp // the lock was taken and the clockwork ran
	Store device.Stamp // the queue to the store was looked through, or a write came back, well or not
}

// pulse is a stamp that one goroutine sets and any may read.
type pulse struct{ at atomic.Int64 }

func (p *pulse) beat()              { p.at.Store(int64(device.Now())) }
func (p *pulse) last() device.Stamp { return device.Stamp(p.at.Load()) }

// Pulse may be called from any goroutine. Before Run its stamps are those of New.
func (s *Session) Pulse() Pulse {
	return Pulse{Tick: s.beats.last(), Store: s.archive.beats.last()}
}
