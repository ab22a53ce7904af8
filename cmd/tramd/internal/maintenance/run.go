package maintenance

import (
	"context"
	"sync"
	"time"

	"tramd/cmd/tramd/internal/session"
)

// Parts are those that upkeep reaches: the session shows what came of it.
type Parts struct {
	Session *session.Session
	History History
}

// History is called when what is stored has changed; all says that older checks have.
type History interface{ Changed(all bool) }

// Show has the session show what is wrong with the record; call it before anything is served.
func (r *Record) Show(s *session.Session) {
	if why := r.Store.Waiting(); why != nil {
		s.Trouble("record", why.Error())
	} else if r.saved != "" {
		s.Trouble("record", r.saved)
	}
}

// startTakes is how long after the start what can wait does wait: a start has enough to do.
const startTakes = 2 * time.Minute

// Run looks after the record until ctx ends.
func (r *Record) Run(ctx context.Context, to Parts) {
	var all sync.WaitGroup
	for _, f := range []func(context.Context, Parts){r.dates.run, r.heal, r.check, r.doChores} {
		all.Go(func() { f(ctx, to) })
	}
	all.Wait()
}
