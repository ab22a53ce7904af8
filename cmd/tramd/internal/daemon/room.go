package daemon

import (
	"context"
	"time"
)

// roomEvery is how often a record that could not be opened for lack of room is tried again.
const roomEvery = 5 * time.Second

// awaitRoom gives a channel that closes once a record that waits for room can be opened and nothing is under way. The
// parts then start again on it, as for a new configuration: all of them begin with what the record holds. It gives
// nil, which never comes, where the record is open.
func (d *Daemon) awaitRoom(ctx context.Context) <-chan struct{} {
	if d.store.Waiting() == nil {
		return nil
	}
	room := make(chan struct{})
	go func() {
		tick := time.NewTicker(roomEvery)
		defer tick.Stop()
		for {
			select {
			case <-ctx.Done():
				return
			case <-d.done:
				return
			case <-tick.C:
			}
			if d.free(ctx) == nil && d.store.Roomy(ctx) {
				d.o.Log.Info("there is room for the record now; opening it")
				close(room)
				return
			}
		}
	}()
	return room
}
