package web

import (
	"context"
	"errors"
	"log/slog"
	"math"
	"net/netip"
	"sync"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/peerlimit"
	"tramd/sweep"
)

const (
	stateEvery = time.Second / 10       // what an eye follows
	aimEvery   = time.Second / 20       // while an adjuster is moved, a hand follows what is shown
	movedMM    = 0.002                  // a reading that moved so far is being moved, and does not flicker
	movedFor   = 3 * time.Second        // since then
	curveEvery = 250 * time.Millisecond // a curve is larger and changes slowly
	maxClients = 32
	maxPerPeer = 8 // so that a guest leaves room for the others
)

// frame is what all clients are shown at one moment, as events. It is never changed once published.
type frame struct {
	state   []byte
	curve   []byte
	curveNo uint64 // counts the curves, so that a client knows whether it has this one
}

// hub asks for the snapshot once for all clients, and only while there are any. It never waits for a client: a client
// fetches the newest frame when it is ready, and what it missed is gone.
type hub struct {
	live       Live
	indicators []sweep.Indicator
	log        *slog.Logger
	limit      *peerlimit.Limit

	mu      sync.Mutex
	clients map[*client]struct{}
	latest  *frame
	cancel  context.CancelFunc // ends the poller
	ended   chan struct{}      // closed when the poller has ended
}

// client is one open stream. news holds at most one notice: that there is a newer frame.
type client struct {
	news chan struct{}
	from netip.Addr
}

func newHub(live Live, indicators []sweep.Indicator, log *slog.Logger) *hub {
	return &hub{live: live, indicators: indicators, log: log, limit: peerlimit.New(maxClients, maxPerPeer),
		clients: map[*client]struct{}{}}
}

// join adds a client, or returns nil when there are too many, in all or from its address.
func (h *hub) join(from netip.Addr) *client {
	if !h.limit.Enter(from) {
		return nil
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	c := &client{news: make(chan struct{}, 1), from: from}
	h.clients[c] = struct{}{}
	if len(h.clients) == 1 {
		ctx, cancel := context.WithCancel(context.Background())
		h.cancel, h.latest = cancel, nil
		before := h.ended
		h.ended = make(chan struct{})
		go h.poll(ctx, before, h.ended)
	} else if h.latest != nil {
		c.news <- struct{}{}
	}
	return c
}

// leave takes a client off; the last one out stops the poller.
func (h *hub) leave(c *client) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.limit.Leave(c.from)
	delete(h.clients, c)
	if len(h.clients) == 0 {
		h.cancel()
	}
}

func (h *hub) newest() *frame {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.latest
}

// poll publishes frames until ctx ends. It begins when the poller before it has ended, so that there is never more than
// one.
func (h *hub) poll(ctx context.Context, before <-chan struct{}, ended chan<- struct{}) {
	defer close(ended)
	if before != nil {
		<-before
	}
	tick := time.NewTimer(0)
	defer tick.Stop()
	var p frameBuilder
	var m movement
	p.indicators = h.indicators
	failing := false
	for {
		began := time.Now()
		f, s, err := h.paint(ctx, &p)
		tick.Reset(time.Until(began.Add(m.pace(s, began))))
		switch {
		case ctx.Err() != nil:
			return
		case err == nil:
			failing = false
			h.publish(ctx, f)
		case !failing: // once a change; the pages see by themselves that no news comes
			failing = true
			h.log.Warn("no state for the live stream", "why", err)
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// movement notices that somebody moves an adjuster: no sweep is in hand and a reading changes.
type movement struct {
	mm map[string]float64 // by device, as it stood when it was last seen to move
	at time.Time
}

// pace is how long after a frame that began at now the next is due. s is nil where there is no state.
func (m *movement) pace(s *api.Snapshot, now time.Time) time.Duration {
	if s == nil || s.Sweep.Phase != api.PhaseIdle {
		return stateEvery
	}
	if m.mm == nil {
		m.mm = map[string]float64{}
	}
	for i := range s.Devices {
		d := &s.Devices[i]
		if d.ReadingMM == nil {
			continue
		}
		if was, known := m.mm[d.Name]; !known || math.Abs(*d.ReadingMM-was) >= movedMM {
			m.mm[d.Name] = *d.ReadingMM
			if known {
				m.at = now
			}
		}
	}
	if now.Sub(m.at) < movedFor {
		return aimEvery
	}
	return stateEvery
}

func (h *hub) paint(ctx context.Context, p *frameBuilder) (*frame, *api.Snapshot, error) {
	ctx, cancel := context.WithTimeout(ctx, 2*time.Second)
	defer cancel()
	s, err := snapshot(ctx, h.live)
	if err != nil {
		return nil, nil, err
	}
	f, err := p.paint(s, time.Now())
	return f, s, err
}

func (h *hub) publish(ctx context.Context, f *frame) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if ctx.Err() != nil {
		return
	}
	h.latest = f
	for c := range h.clients {
		select {
		case c.news <- struct{}{}:
		default: // it has not come for the one before
		}
	}
}

// snapshot asks for the present state; nothing to ask, and no answer, are errors too.
func snapshot(ctx context.Context, live Live) (*api.Snapshot, error) {
	if live == nil {
		return nil, errors.New("the daemon was started without a live session")
	}
	s, err := live.Snapshot(ctx)
	if err == nil && s == nil {
		err = errors.New("no state yet")
	}
	return s, err
}
