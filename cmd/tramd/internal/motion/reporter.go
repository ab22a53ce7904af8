package motion

import "sync"

// reporter calls the owner's hooks in order, on a goroutine of its own.
type reporter struct {
	mu    sync.Mutex
	queue []func()
	more  chan struct{}
	over  chan struct{}
	done  sync.WaitGroup
}

func newReporter() *reporter {
	r := &reporter{more: make(chan struct{}, 1), over: make(chan struct{})}
	r.done.Go(r.run)
	return r
}

// report has f called after what was reported before it. It never waits.
func (r *reporter) report(f func()) {
	r.mu.Lock()
	r.queue = append(r.queue, f)
	r.mu.Unlock()
	select {
	case r.more <- struct{}{}:
	default:
	}
}

// close waits until all was reported.
func (r *reporter) close() {
	close(r.over)
	r.done.Wait()
}

func (r *reporter) run() {
	for {
		r.mu.Lock()
		queue := r.queue
		r.queue = nil
		r.mu.Unlock()
		for _, f := range queue {
			f()
		}
		if len(queue) > 0 {
			continue
		}
		select {
		case <-r.more:
		case <-r.over:
			r.mu.Lock()
			empty := len(r.queue) == 0
			r.mu.Unlock()
			if empty {
				return
			}
		}
	}
}
