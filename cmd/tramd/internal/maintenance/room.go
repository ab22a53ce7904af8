package maintenance

import (
	"context"
	"time"

	"tramd/cmd/tramd/internal/session"
)

// roomEvery is how often a record that could not be opened for lack of room is tried again.
const roomEvery = 5 * time.Second

// Room returns a channel that closes once a record that waits for room can be opened and nothing is being measured. The
// parts then start again on it, as for a new configuration: all of them begin with what the record holds. It returns
// nil, which never comes, where the record is open. It looks until ctx ends.
func (r *Record) Room(ctx context.Context, s session.Unwatched) <-chan struct{} {
	if r.Store.Waiting() == nil {
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
			case <-tick.C:
			}
			if idle, err := s.Idle(ctx); err == nil && idle && r.Store.Roomy(ctx) {
				r.Log.Info("there is room for the record now; opening it")
				close(room)
				return
			}
		}
	}()
	return room
}
