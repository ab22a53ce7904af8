package session

import (
	"errors"
	"math"
	"strings"
	"sync/atomic"
	"testing"

	"tramd/cmd/tramd/internal/api"
	"tramd/device"
	"tramd/device/frame"
	"tramd/sweep"
	"tramd/sweep/mixed"
	"tramd/sweep/units"
)

// followed is a rig whose lean is followed by the full model; failing, when set, has every fit fail. fits counts them.
type followed struct {
	*rig
	failing atomic.Bool
	fits    atomic.Int64
}

func newFollowed(t *testing.T) *followed {
	f := &followed{rig: newRig(t, 0)}
	f.locked(func() {
		f.o.Follow = func(pts []sweep.Point, setup sweep.Setup, pace func()) (Following, sweep.Result, error) {
			f.fits.Add(1)
			if f.failing.Load() {
				return nil, sweep.Result{}, errors.New("the matrix is not what it was")
			}
			c, r, err := mixed.Begin(pts, setup, mixed.Options{Pace: pace})
			if err != nil {
				return nil, r, err
			}
			return c, r, nil
		}
	})
	if _, err := f.Start(t.Context(), 3, "check"); err != nil {
		t.Fatal(err)
	}
	return f
}

// at is like turn, but the clock is the real one, so that ages are too: all of it came just now.
func (f *followed) arc(from, to int) {
	f.at = max(f.at, device.Now()-device.Stamp(to-from)*1e6)
	for deg := from; deg <= to; deg++ {
		th := float64(deg) * math.Pi / 180
		z, _ := units.FromMM(1 + 120*(rigTilt*math.Cos(th)+rigNod*math.Sin(th)) + 0.0005*math.Sin(float64(deg*deg)))
		f.at += 1e6
		f.Sink(device.Batch{Device: 0, Samples: []device.Sample{{At: f.at, Kind: frame.Length, Value: int64(z)}}})
		f.Sink(device.Batch{Device: 1, Samples: []device.Sample{{At: f.at, Kind: frame.Count, Value: int64(deg * 10)}}})
	}
}

// The result that is shown holds the newest reading as soon as there is a fit, however the readings come; its interval
// holds the truth.
func TestTheShownLeanHoldsTheNewestReading(t *testing.T) {
	f := newFollowed(t)
	f.arc(0, 200)
	f.wait(t, "the first fit", func(s *api.Snapshot) bool { return s.Sweep.Result != nil })
	fits := f.fits.Load()
	for to := 201; to < 260; to++ {
		f.arc(to, to)
	}
	f.arc(260, 700) // a batch after a hang
	s := f.wait(t, "the newest reading", func(s *api.Snapshot) bool {
		return s.Sweep.ResultReadings == s.Sweep.Readings
	})
	r := s.Sweep.Result
	if r.Readings+r.Rejected != s.Sweep.Readings {
		t.Errorf("%d readings and %d left out, %d received", r.Readings, r.Rejected, s.Sweep.Readings)
	}
	for _, a := range []struct {
		axis  *sweep.Axis
		truth float64
	}{{r.Tilt, rigTilt}, {r.Nod, rigNod}} {
		if e := math.Abs(float64(a.axis.Slope) - a.truth); e > float64(a.axis.Expanded) {
			t.Errorf("off by %v, said %v", e, a.axis.Expanded)
		}
	}
	if n := f.fits.Load(); n > fits+2 {
		t.Errorf("%d fits for what the filter can carry on", n-fits)
	}
}

// An instrument that falls silent is named and the lean keeps its age; it recovers by itself.
func TestASilentIndicatorIsNamed(t *testing.T) {
	f := newFollowed(t)
	f.arc(0, 300)
	f.wait(t, "the first fit", func(s *api.Snapshot) bool { return s.Sweep.Result != nil })
	s := f.wait(t, "its age", func(s *api.Snapshot) bool {
		return strings.Contains(s.Sweep.Live, "arm has sent nothing for")
	})
	if s.Sweep.Result == nil || s.Sweep.ResultAgeS == nil || *s.Sweep.ResultAgeS < lateAfter.Seconds() {
		t.Errorf("the lean lost its age: %+v", s.Sweep)
	}
	f.arc(301, 320)
	f.wait(t, "fresh words", func(s *api.Snapshot) bool {
		return s.Sweep.Live == "" && s.Sweep.ResultReadings == s.Sweep.Readings
	})
}

// A fit that fails leaves the lean to the filter, and says so.
func TestAFailedFitLeavesTheFilter(t *testing.T) {
	f := newFollowed(t)
	f.arc(0, 150)
	f.wait(t, "the first fit", func(s *api.Snapshot) bool { return s.Sweep.Result != nil })
	f.failing.Store(true)
	f.arc(151, 500)
	f.wait(t, "the words", func(s *api.Snapshot) bool {
		return strings.Contains(s.Sweep.Live, "not what it was") && s.Sweep.ResultReadings == s.Sweep.Readings &&
			s.Sweep.Result != nil ||
			s.Sweep.Live != "" && f.again()
	})
	f.failing.Store(false)
	f.wait(t, "recovery", func(s *api.Snapshot) bool { f.more(); return s.Sweep.Live == "" })
}

// more turns a little, so that the instruments are not silent.
func (f *followed) more() {
	var deg int
	f.locked(func() { deg = int(math.Round(f.job.source.(*turnedArm).high * 180 / math.Pi)) })
	f.arc(deg+1, deg+1)
}

func (f *followed) again() bool { f.more(); return false }

// A scrape, an alarm and the clockwork are no watchers: nothing is fitted for them, and they get no curve.
func TestNothingIsWorkedOutForAScrape(t *testing.T) {
	f := newFollowed(t)
	f.arc(0, 300)
	for range 20 {
		s, err := Unwatched{f.Session}.Snapshot(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if s.Sweep.Curve != nil {
			t.Fatal("a curve")
		}
		f.locked(func() { f.follow(f.watched.Add(watchedFor * 2)) })
	}
	if n := f.fits.Load(); n != 0 {
		t.Errorf("%d fits", n)
	}
}

// An encoder's lines are held up while the arm turns and the indicator goes on, and then come all at once. By their
// stamps the arm stood meanwhile, and the readings of that time had angles that were wrong by up to 60 degrees. They
// have none, the live words say why, and the interval holds the truth.
func TestTheShownLeanBearsAnEncoderThatIsHeldUp(t *testing.T) {
	f := newFollowed(t)
	f.arc(0, 120)
	reading := func(deg int) {
		th := float64(deg) * math.Pi / 180
		z, _ := units.FromMM(1 + 120*(rigTilt*math.Cos(th)+rigNod*math.Sin(th)))
		f.Sink(device.Batch{Device: 0, Samples: []device.Sample{{At: f.at, Kind: frame.Length, Value: int64(z)}}})
	}
	count := func(deg int) {
		f.Sink(device.Batch{Device: 1, Samples: []device.Sample{{At: f.at, Kind: frame.Count, Value: int64(deg * 10)}}})
	}
	for deg := 121; deg <= 180; deg++ {
		f.at += 1e6
		reading(deg)
	}
	for deg := 121; deg <= 180; deg++ {
		f.at += 1e4
		count(deg)
		if deg == 150 {
			f.locked(func() {
				if said := f.silent(f.at); !strings.Contains(said, "held up on their way") {
					t.Errorf("said %q", said)
				}
			})
		}
	}
	for deg := 181; deg <= 240; deg++ {
		f.at += 1e6
		reading(deg)
		count(deg)
	}
	s := f.wait(t, "all in", func(s *api.Snapshot) bool {
		return s.Sweep.Result != nil && s.Sweep.ResultReadings >= 240
	})
	if s.Sweep.Untagged < 60 || s.Sweep.Untagged > 75 {
		t.Errorf("%d readings have no angle", s.Sweep.Untagged)
	}
	for i, a := range []*sweep.Axis{s.Sweep.Result.Tilt, s.Sweep.Result.Nod} {
		if truth := []float64{rigTilt, rigNod}[i]; math.Abs(float64(a.Slope)-truth) > float64(a.Expanded) {
			t.Errorf("axis %d is %v ± %v, the truth is %v", i, a.Slope, a.Expanded, truth)
		}
	}
	f.locked(func() {
		if said := f.silent(f.at); said != "" {
			t.Errorf("said %q when all were in", said)
		}
	})
}
