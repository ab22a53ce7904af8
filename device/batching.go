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
	// lines is known exactly; pace sets the lines between by it. Where bytes are gathered it is seldom: each look
	// bounds the stamps too.
	anchorEvery  = Stamp(50 * time.Millisecond)
	anchorSeldom = Stamp(500 * time.Millisecond)
	// gatherLines is how many lines a wait must bring for it to be worth the wait.
	gatherLines = 2
	// gatherBytes bounds how many bytes lie unread: a terminal of the kernel holds 4,095, so that a port may be read as
	// late again as it was to wait.
	gatherBytes = 2048
)

// batching decides when the poller wakes. Slow ports wake it at once. Fast ones are read together: when the lines of
// the leading one come, as a reading cannot be placed before the angle after it is known; or, where there is no hurry,
// as seldom as they all allow.
type batching struct {
	last    Stamp // when the fast ports were last read
	gathers Stamp // for how long bytes lie on purpose in this wait
}

func (r *batching) woke(now Stamp) { r.last = now }

// plan marks the ports whose bytes are to end the wait, and gives the longest wait; below 0: for ever.
func (r *batching) plan(ports []*polled, now Stamp) Stamp {
	var lead *polled
	latency := Stamp(-1)
	r.gathers = 0
	for _, p := range ports {
		own := p.mayWait()
		p.along = !p.exact && (p.pace.fast() || own > 0 &&
			float64(p.pace.rate)*time.Duration(own).Seconds() >= gatherLines)
		p.waited = !p.along
		if p.waited || p.ended {
			continue
		}
		if latency < 0 || own < latency {
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
		r.gathers = latency
		for _, p := range ports { // a line ends the wait at its own moment only where none lies there yet
			p.waited = p.waited || now == r.last && now >= p.anchorAt
		}
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
	size  int // bytes
	rate  int // samples a second
	bytes int // a second
}

func (p *pacer) count(now Stamp, samples, size int) {
	const window = Stamp(100 * time.Millisecond)
	p.n, p.size = p.n+samples, p.size+size
	if span := now - p.since; span >= window {
		p.rate = int(int64(p.n) * int64(time.Second) / int64(span))
		p.bytes = int(int64(p.size) * int64(time.Second) / int64(span))
		p.since, p.n, p.size = now, 0, 0
	}
}

func (p *pacer) fast() bool { return p.rate >= fastAbove }

// mayWait is how long the port's bytes may lie.
func (p *polled) mayWait() Stamp {
	own := Stamp(p.latency.Load())
	if p.pace.bytes > 0 {
		own = min(own, Stamp(gatherBytes*int64(time.Second)/int64(p.pace.bytes)))
	}
	return own
}
