package session

import (
	"math"
	"strconv"
	"sync"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/device"
	"tramd/sweep"
)

// While a person watches, the lean that is shown holds every reading. A full fit takes long, so it runs beside the
// work, seldom and in small pieces; between fits a filter carries the last one on. Each snapshot updates the
// filter.
const (
	watchedFor   = 2 * time.Second
	fitAtMost    = 200_000 // readings; beyond that the filter goes on alone
	fitRests     = 8       // times what the last fit took before the next
	fitSlice     = 4 * time.Millisecond
	fitPauses    = 5                     // times as long as it worked, after each slice
	freshEnough  = 20 * time.Millisecond // a result that is not older is shown as it is
	lateAfter    = 500 * time.Millisecond
	catchUpAtMax = 4096 // readings that are taken in under the lock
)

// Following carries a fit on with readings that come after it. One goroutine at a time.
type Following interface {
	Add(sweep.Point)
	Result() sweep.Result
	Urgent() bool // whether readings wait for the next fit
}

// FollowFunc fits the readings so far. Following is nil where the fit cannot be carried on. It calls pace now and then,
// which may sleep.
type FollowFunc func(pts []sweep.Point, setup sweep.Setup, pace func()) (Following, sweep.Result, error)

// shown is a result that may be shown, and what it rests on.
type shown struct {
	result sweep.Result
	n      int     // readings counted in it, those left out included
	at     float64 // time of the newest of them, seconds
}

// follower is the present fit of a run with its filter.
type follower struct {
	mu     sync.Mutex // taken before the session's lock
	f      Following
	n      int       // points that f has
	newest float64   // time of the last of them
	at     time.Time // when it was brought up to date
}

// following is what a job knows of its fits, under the session's lock.
type following struct {
	*follower
	shown    *shown
	fitting  bool
	fitted   int           // how many readings the last fit had
	joined   []sweep.Point // those, in one piece, for the next to go on from; belongs to the fit while there is one
	mayFit   time.Time     // when the next may begin
	urgent   bool
	trouble  string // why the last fit failed; empty: it did not
	doubted  bool   // shown rests on angles that turned out wrong
	doubtGen int    // counts the doubts
}

// follow begins a full fit when one is due.
func (s *Session) follow(now time.Time) {
	j := s.job
	if s.course() != nil && j.grown && !j.works &&
		now.Sub(s.watched) <= watchedFor && !now.Before(j.nextFit) {
		j.fitSoFar(s)
		return
	}
	if j == nil || s.o.Follow == nil || j.measured != nil || !j.begun || j.phase == api.PhaseFitting ||
		now.Sub(s.watched) > watchedFor || !j.fitDue(now) {
		return
	}
	if j.ready() != nil {
		return
	}
	n := len(j.joined)
	pieces, joined, setup := j.points.since(n), j.joined, j.setup
	doubts, gen := j.doubts[:len(j.doubts):len(j.doubts)], j.doubtGen
	j.fitting, j.fitted = true, j.points.n
	p := &pacer{ended: s.ended, hurry: j.shown == nil}
	go func() {
		joined := join(joined, pieces)
		p.began = time.Now()
		f, r, err := s.o.Follow(sweep.Believed(joined, doubts), setup, p.pace)
		p.stop()
		s.fitMade(j, fitMade{f: f, r: r, err: err, joined: joined, gen: gen, worked: p.worked})
	}()
}

// fitDue reports whether there is enough that is new.
func (j *job) fitDue(now time.Time) bool {
	n := j.points.n
	switch {
	case j.fitting || n == j.fitted || n > fitAtMost || now.Before(j.mayFit):
		return false
	case j.shown == nil || j.doubted || j.urgent || j.trouble != "" || j.follower.f == nil || n <= sweep.RefitFew:
		return true
	}
	return float64(n) >= sweep.RefitGrowth*float64(j.fitted)
}

type fitMade struct {
	f      Following
	r      sweep.Result
	err    error
	joined []sweep.Point
	gen    int
	worked time.Duration
}

// fitMade takes a fit in the place of the one before, with the readings that came meanwhile.
func (s *Session) fitMade(j *job, m fitMade) {
	n := len(m.joined)
	newest := math.Inf(-1)
	if n > 0 {
		newest = m.joined[n-1].T
	}
	if m.err == nil && m.f != nil {
		for more := true; more; {
			var pieces [][]sweep.Point
			s.locked(func() { pieces = j.points.since(n) })
			n, newest, more = addTo(m.f, pieces, n, newest)
		}
	}
	x := &shown{m.r, len(m.joined), newestOf(m.joined)}
	if m.err == nil && m.f != nil && n > x.n {
		x = &shown{m.f.Result(), n, newest}
	}
	fl := j.follower
	fl.mu.Lock()
	defer fl.mu.Unlock()
	took := false
	s.locked(func() {
		j.fitting, j.joined = false, m.joined
		j.mayFit = time.Now().Add(fitRests * m.worked)
		if m.gen != j.doubtGen {
			return // it rests on angles that are in doubt by now
		}
		if m.err != nil {
			j.trouble = m.err.Error()
			return
		}
		took, j.trouble, j.doubted, j.urgent = true, "", false, false
		x.result.WarnDoubts(j.doubts)
		j.shown = x
	})
	if took {
		fl.f, fl.n, fl.newest, fl.at = m.f, n, newest, time.Time{}
	}
}

func newestOf(pts []sweep.Point) float64 {
	if len(pts) == 0 {
		return math.Inf(-1)
	}
	return pts[len(pts)-1].T
}

// addTo gives a filter more points, and says whether there were many, so that there may be more by now.
func addTo(f Following, pieces [][]sweep.Point, n int, newest float64) (int, float64, bool) {
	added := 0
	for _, piece := range pieces {
		for _, p := range piece {
			f.Add(p)
		}
		added += len(piece)
		newest = max(newest, newestOf(piece))
	}
	return n + added, newest, added > catchUpAtMax
}

// bring brings the shown result up to the newest reading. It is called without the lock.
func (s *Session) bring() {
	s.readNow()
	var j *job
	s.locked(func() {
		s.watched = time.Now()
		if j = s.job; j != nil && (j.follower == nil || !j.begun || j.phase == api.PhaseFitting) {
			j = nil
		}
	})
	if j == nil {
		return
	}
	fl := j.follower
	fl.mu.Lock()
	defer fl.mu.Unlock()
	if fl.f == nil || time.Since(fl.at) < freshEnough {
		return
	}
	var pieces [][]sweep.Point
	doubted := false
	s.locked(func() { pieces, doubted = j.points.since(fl.n), j.doubted })
	if doubted || len(pieces) == 0 && !fl.at.IsZero() {
		return
	}
	fl.n, fl.newest, _ = addTo(fl.f, pieces, fl.n, fl.newest)
	r := fl.f.Result()
	fl.at = time.Now()
	urgent := fl.f.Urgent()
	s.locked(func() {
		if j.doubted {
			return
		}
		r.WarnDoubts(j.doubts)
		j.shown, j.urgent = &shown{r, fl.n, fl.newest}, urgent
	})
}

// pacer has a fit work in slices with pauses between, so that on one slow core nothing else waits long for it.
type pacer struct {
	ended  <-chan struct{}
	hurry  bool // nothing is shown yet
	began  time.Time
	worked time.Duration
}

func (p *pacer) pace() {
	work := time.Since(p.began)
	if work < fitSlice {
		return
	}
	p.worked += work
	nap := fitPauses * work
	if p.hurry {
		nap = work
	}
	select {
	case <-time.After(nap):
	case <-p.ended:
	}
	p.began = time.Now()
}

func (p *pacer) stop() { p.worked += time.Since(p.began) }

// sayOfResult says in words what is wrong with the shown result; empty when it holds the newest reading.
func (s *Session) sayOfResult(j *job, mono device.Stamp) string {
	switch {
	case j.phase == api.PhaseFitting:
		return ""
	case j.doubted:
		return "Some angles turned out wrong. The lean is from before that; it is being worked out again."
	case j.trouble != "" && j.shown == nil:
		return "The full fit failed: " + j.trouble + ". It is tried again with more readings."
	case j.source.streams() && j.begun:
		if why := s.silent(mono); why != "" {
			return why
		}
	}
	if j.trouble != "" {
		return "The last full fit failed: " + j.trouble + ". The lean goes on from the fit before."
	}
	if x := j.shown; x != nil && j.source.streams() && s.ageOf(x, mono) > lateAfter && j.points.n > x.n {
		return "The computer is busy: the lean does not hold the newest readings yet."
	}
	return ""
}

func (s *Session) ageOf(x *shown, mono device.Stamp) time.Duration {
	return time.Duration((mono.Seconds() - x.at) * float64(time.Second))
}

// silent says which instrument has sent nothing for long, or is late.
func (s *Session) silent(mono device.Stamp) string {
	for i := range s.latest {
		if age := time.Duration(mono - s.latest[i].at); s.latest[i].at != 0 && age > lateAfter {
			return s.o.Setup.Indicators[i].Name + " has sent nothing for " + tenths(age) +
				" s. The lean is from before."
		}
	}
	if age := time.Duration(mono - s.angleAt); s.encoder != nil && s.angleAt != 0 && age > lateAfter {
		return "The encoder has sent nothing for " + tenths(age) + " s: the readings since then have no angle yet."
	}
	if s.encoder != nil && s.encoder.HeldUp() {
		return "Lines come late: they were held up on their way. Readings wait until all are in; those of that time get no angle."
	}
	return ""
}

func tenths(d time.Duration) string { return strconv.FormatFloat(d.Seconds(), 'f', 1, 64) }
