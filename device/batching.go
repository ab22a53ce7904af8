package device

import "time"

const (
	// fastAbove is the rate, in samples a second, above which a port's bytes are gathered. Below it each line is read
	// as it comes.
	fastAbove = 200
	// leadBelow is the rate up to which a port may call for the others at every line. Beyond it a timer wakes less
	// often.
	leadBelow = 1500
	// Two bounds on how long bytes lie unread while somebody waits for what they say: without a port that leads, and
	// with one that has fallen silent.
	tickEvery = Stamp(time.Millisecond)
	leadLost  = Stamp(2 * time.Millisecond)
	// anchorEvery is how often a port that is read along with another is waited for, so that the moment of one of its
	// lines is known exactly; pace sets the lines between by it.
	anchorEvery = Stamp(50 * time.Millisecond)
)

// batching decides when the poller wakes. Slow ports wake it at once. Fast ones are read together: when the lines of
// the leading one come, as a reading cannot be placed before the angle after it is known; or, where there is no hurry,
// as seldom as they all allow.
type batching struct {
	last Stamp // when the fast ports were last read
}

func (r *batching) woke(now Stamp) { r.last = now }

// plan marks the ports whose bytes are to end the wait, and gives the longest wait; below 0: for ever.
func (r *batching) plan(ports []*polled, now Stamp) Stamp {
	var lead *polled
	latency := Stamp(-1)
	for _, p := range ports {
		p.waited = p.exact || !p.pace.fast()
		if p.waited || p.ended {
			continue
		}
		if own := Stamp(p.latency.Load()); latency < 0 || own < latency {
			latency = own
		}
		if p.pace.rate < leadBelow && (lead == nil || p.leads && !lead.leads) {
			lead = p
		}
	}
	switch {
	case latency < 0:
		return -1
	case latency > 0:
		return max(0, r.last+latency-now)
	}
	for _, p := range ports {
		p.waited = p.waited || p == lead || now >= p.anchorAt
	}
	if lead == nil {
		return max(0, r.last+tickEvery-now)
	}
	return max(0, r.last+leadLost-now)
}

// pacer counts what a port brings in windows of a tenth of a second. It counts looks that found nothing too, so
// that a port that falls silent is slow again.
type pacer struct {
	since Stamp
	n     int
	rate  int // samples a second
}

func (p *pacer) count(now Stamp, samples int) {
	const window = Stamp(100 * time.Millisecond)
	p.n += samples
	if span := now - p.since; span >= window {
		p.rate = int(int64(p.n) * int64(time.Second) / int64(span))
		p.since, p.n = now, 0
	}
}

func (p *pacer) fast() bool { return p.rate >= fastAbove }
