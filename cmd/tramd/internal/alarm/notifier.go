package alarm

import (
	"context"
	"errors"
	"log/slog"
	"sync"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/display"
)

// Live is where the present state comes from.
type Live interface {
	Snapshot(ctx context.Context) (*api.Snapshot, error)
}

// Options name the receivers. Without any receiver there is nothing to run.
type Options struct {
	Machine       string
	Page          string   // address of the machine's page; empty: left out
	Alertmanagers []string // base addresses
	Webhook       *Webhook
	Mail          *Mail
	File          string // where what waits is kept
	Every         time.Duration
	Units         display.Units // that people read
	Log           *slog.Logger
}

// Any reports whether there is a receiver.
func (o Options) Any() bool { return len(o.Alertmanagers) > 0 || o.Webhook != nil || o.Mail != nil }

// Notifier looks at the state, decides and sends.
type Notifier struct {
	o         Options
	live      Live
	receivers []receiver

	mu       sync.Mutex // guards what follows; held while the file is written, never while the network is waited for
	alerting *alertState
	state    state
	wake     map[string]chan struct{}
}

// New makes a notifier; what waited when the program last ended is taken up again.
func New(live Live, o Options) *Notifier {
	if o.Every == 0 {
		o.Every = 5 * time.Second
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	t := &Notifier{o: o, live: live, wake: map[string]chan struct{}{}}
	if o.Webhook != nil {
		t.receivers = append(t.receivers, *o.Webhook)
	}
	if o.Mail != nil {
		t.receivers = append(t.receivers, *o.Mail)
	}
	s, err := load(o.File)
	if err != nil {
		o.Log.Warn("alarms", "error", err)
	}
	t.state, t.alerting = s, newAlertState(o.Machine, s.Sent, time.Now())
	for _, r := range t.receivers {
		t.wake[r.name()] = make(chan struct{}, 1)
	}
	if len(o.Alertmanagers) > 0 {
		t.wake[managers] = make(chan struct{}, 1)
	}
	return t
}

// Run looks and tells until ctx ends.
func (t *Notifier) Run(ctx context.Context) {
	var wg sync.WaitGroup
	for _, r := range t.receivers {
		wg.Go(func() { t.deliver(ctx, r) })
	}
	if len(t.o.Alertmanagers) > 0 {
		wg.Go(func() { t.repeat(ctx) })
	}
	tick := time.NewTicker(t.o.Every)
	defer tick.Stop()
	for ctx.Err() == nil {
		t.look(ctx)
		select {
		case <-ctx.Done():
		case <-tick.C:
		}
	}
	wg.Wait()
}

func (t *Notifier) look(ctx context.Context) {
	s, err := t.live.Snapshot(ctx)
	if err != nil || s == nil {
		return // the session is stopping; nothing can be said of the machine
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	standing := Standing(s)
	for i := range standing {
		standing[i].Text = t.o.Units.Words(standing[i].Text)
	}
	messages := t.alerting.update(time.Now(), standing)
	if len(messages) == 0 {
		return
	}
	for _, m := range messages {
		m.link(t.o.Page)
		t.o.Log.Warn("alarm "+m.State, "kind", m.Kind, "about", m.About, "text", m.Text)
		for _, r := range t.receivers {
			t.state.wait(r.name(), m)
		}
		if len(t.o.Alertmanagers) > 0 && m.State == "cleared" {
			t.state.Over = append(t.state.Over, m)
			t.state.Over = t.state.Over[max(0, len(t.state.Over)-maxWaiting):]
		}
	}
	t.save()
	for _, c := range t.wake {
		select {
		case c <- struct{}{}:
		default:
		}
	}
}

// save keeps the state; a disk that is full costs only what a restart would have to remember. The lock is held.
func (t *Notifier) save() {
	t.state.Sent = t.alerting.sent()
	if err := t.state.save(t.o.File); err != nil {
		t.o.Log.Warn("waiting alarms could not be saved; they are sent only while the program runs", "error", err)
	}
}

// deliver tells one receiver what waits for it, one after the other, and tries again ever more slowly.
func (t *Notifier) deliver(ctx context.Context, r receiver) {
	const shortest, longest = 5 * time.Second, 10 * time.Minute
	pause := shortest
	for ctx.Err() == nil {
		m, ok := t.head(r.name())
		if !ok {
			select {
			case <-ctx.Done():
			case <-t.wake[r.name()]:
			}
			continue
		}
		attempt, cancel := context.WithTimeout(ctx, sendTimeout)
		err := r.tell(attempt, m)
		cancel()
		if ctx.Err() != nil {
			return // it goes out again after the restart: twice is better than never
		}
		if err == nil || errors.Is(err, errRefused) {
			if err != nil {
				t.o.Log.Error("an alarm was refused and is dropped", "receiver", r.name(), "kind", m.Kind, "error", err)
			}
			t.drop(r.name(), m)
			pause = shortest
			continue
		}
		t.o.Log.Warn("an alarm waits", "receiver", r.name(), "kind", m.Kind, "error", err, "again_in", pause)
		select {
		case <-ctx.Done():
		case <-time.After(pause):
		}
		pause = min(2*pause, longest)
	}
}

func (t *Notifier) head(name string) (Message, bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if q := t.state.Waiting[name]; len(q) > 0 {
		return q[0], true
	}
	return Message{}, false
}

func (t *Notifier) drop(name string, m Message) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.state.delivered(name, m)
	t.save()
}

// managers names the Alertmanagers among those who are woken.
const managers = "alertmanager"

// repeat keeps the Alertmanagers informed. They need no queue: what stands is sent again anyway.
func (t *Notifier) repeat(ctx context.Context) {
	failed := false
	for ctx.Err() == nil {
		alerts, over := t.alerts(time.Now())
		attempt, cancel := context.WithTimeout(ctx, sendTimeout)
		err := push(attempt, t.o.Alertmanagers, alerts)
		cancel()
		if err == nil {
			t.heard(over)
		} else if !failed && ctx.Err() == nil { // once, not each minute
			t.o.Log.Warn("no Alertmanager answers; tried again each minute", "error", err)
		}
		failed = err != nil
		select {
		case <-ctx.Done():
		case <-t.wake[managers]:
		case <-time.After(repeatEvery):
		}
	}
}

func (t *Notifier) alerts(now time.Time) (all []postable, over int) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for _, e := range t.alerting.sent() {
		all = append(all, alert(t.o.Machine, t.o.Page, e.Alarm, e.Alarm.ends(now)))
	}
	for _, m := range t.state.Over {
		all = append(all, alert(t.o.Machine, t.o.Page, m.Alarm, *m.Until))
	}
	return all, len(t.state.Over)
}

func (t *Notifier) heard(over int) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if over == 0 {
		return
	}
	t.state.Over = t.state.Over[min(over, len(t.state.Over)):]
	t.save()
}
