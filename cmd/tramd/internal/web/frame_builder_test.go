package web

import (
	"bytes"
	"encoding/json"
	"math"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep"
)

// What is drawn as the fit must run through readings that have no noise: readings made by the geometry of package
// sweep, two indicators at different places on the bar, turned into a curve and a result by the live fit itself.
func TestFitRunsThroughTheReadings(t *testing.T) {
	inds := []sweep.Indicator{{Name: "arm", RadiusMM: 120}, {Name: "far", RadiusMM: 95, PhaseDeg: 150}}
	live, err := sweep.NewLive(sweep.Setup{Machine: "linnet", Indicators: inds, AngleSource: "encoder"})
	if err != nil {
		t.Fatal(err)
	}
	zero := []float64{1.2, -0.4}
	for k := range 720 {
		angle := sweep.Radians(float64(k) / 2)
		for i, ind := range inds {
			at := angle + sweep.Radians(ind.PhaseDeg)
			live.Add(sweep.Point{
				T: float64(k) / 100, Angle: angle, Indicator: i,
				Reading: zero[i] + ind.RadiusMM*(1.8e-4*math.Cos(at)-0.7e-4*math.Sin(at)),
			})
		}
	}
	r, err := live.Result()
	if err != nil {
		t.Fatal(err)
	}
	got := fits(&r, inds)
	if len(got) != 2 {
		t.Fatalf("%d curves for two indicators", len(got))
	}
	curve := live.Curve()
	if len(curve) < 700 {
		t.Fatalf("%d points for two full turns", len(curve))
	}
	for _, p := range curve {
		h := got[p.Indicator]
		sin, cos := math.Sincos(sweep.Radians(p.Deg))
		// A mean over one degree may sit off the curve by its bend: r*slope*(1 degree)^2/8, far below 1e-6 mm.
		if z := h.MeanMM + h.CosMM*cos + h.SinMM*sin; math.Abs(z-p.MM) > 1e-6 {
			t.Fatalf("indicator %d at %v: drawn %v, read %v", p.Indicator, p.Deg, z, p.MM)
		}
	}
	r.Nod = nil
	if len(fits(&r, inds)) != 0 {
		t.Error("a curve from one axis alone")
	}
}

func TestCurveIsPaintedSeldomAndOnlyWhenItChanged(t *testing.T) {
	var p frameBuilder
	s := linnet(0)
	now := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	paint := func(after time.Duration) uint64 {
		t.Helper()
		now = now.Add(after)
		f, err := p.paint(s, now)
		if err != nil {
			t.Fatal(err)
		}
		return f.curveNo
	}
	first := paint(0)
	s.Sweep.Curve = append([]api.CurvePoint{}, s.Sweep.Curve[:100]...)
	if paint(100*time.Millisecond) != first {
		t.Error("the curve was made again too soon")
	}
	second := paint(200 * time.Millisecond)
	if second == first {
		t.Error("a new curve was not sent")
	}
	if paint(time.Second) != second {
		t.Error("the same curve was sent again")
	}
	if len(s.Sweep.Curve) != 100 {
		t.Error("the shared snapshot was changed")
	}
}

func TestUnwritableStateIsAnError(t *testing.T) {
	var p frameBuilder
	s := linnet(0)
	s.Devices[0].ReadingMM = ptr(math.NaN())
	if _, err := p.paint(s, time.Now()); err == nil {
		t.Error("NaN passed for JSON")
	}
}

// The last run is written once and sent until another takes its place, at once.
func TestAFrameHoldsTheLastRunThereIs(t *testing.T) {
	t.Parallel()
	var p frameBuilder
	s := linnet(0)
	for _, last := range []*api.LastRun{{Run: 8}, {Run: 9}, nil, {Run: 10}} {
		s.Last = last
		for range 2 {
			f, err := p.paint(s, time.Now())
			if err != nil {
				t.Fatal(err)
			}
			var got struct{ Last *api.LastRun }
			if err := json.Unmarshal(said(t, "state", f.state), &got); err != nil {
				t.Fatal(err)
			}
			if (got.Last == nil) != (last == nil) || last != nil && got.Last.Run != last.Run {
				t.Errorf("the frame holds %+v, want %+v", got.Last, last)
			}
		}
	}
}

// said returns the JSON of an event.
func said(t *testing.T, name string, event []byte) []byte {
	t.Helper()
	text, named := bytes.CutPrefix(event, []byte("event: "+name+"\ndata: "))
	text, ended := bytes.CutSuffix(text, []byte("\n\n"))
	if !named || !ended || bytes.ContainsAny(text, "\n\r") {
		t.Fatalf("no event %s: %q", name, event)
	}
	return text
}

// BenchmarkPaint is the cost of one frame, paid 15 times a second while any page is open.
func BenchmarkPaint(b *testing.B) {
	var p frameBuilder
	p.indicators = []sweep.Indicator{{RadiusMM: 120}}
	s := linnet(0)
	now := time.Now()
	b.ReportAllocs()
	for b.Loop() {
		now = now.Add(stateEvery)
		f, err := p.paint(s, now)
		if err != nil || len(f.state) < 100 {
			b.Fatal(err)
		}
	}
}
