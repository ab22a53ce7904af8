package web

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/session"
	"tramd/sweep"
)

// The fitted curve must be the reading that the geometry of package sweep gives, phase and all.
func TestFitIsTheReadingOfTheGeometry(t *testing.T) {
	r := result(0.18, -0.07, 0.01)
	r.OffsetMM = []float64{1.2, -0.4}
	inds := []sweep.Indicator{{RadiusMM: 120}, {RadiusMM: 95, PhaseDeg: 180}, {RadiusMM: 10}}
	got := fits(r, inds)
	if len(got) != 2 {
		t.Fatalf("%d curves for two offsets", len(got))
	}
	for i, h := range got {
		for deg := 0.0; deg < 360; deg += 15 {
			th := sweep.Radians(deg)
			at := th + sweep.Radians(inds[i].PhaseDeg)
			want := r.OffsetMM[i] + inds[i].RadiusMM*(float64(r.Tilt.Slope)*math.Cos(at)+float64(r.Nod.Slope)*math.Sin(at))
			if z := h.MeanMM + h.CosMM*math.Cos(th) + h.SinMM*math.Sin(th); math.Abs(z-want) > 1e-12 {
				t.Errorf("indicator %d at %v: %v, want %v", i, deg, z, want)
			}
		}
	}
	r.Nod = nil
	if len(fits(r, inds)) != 0 {
		t.Error("a curve from one axis alone")
	}
}

func TestCurveIsPaintedSeldomAndOnlyWhenItChanged(t *testing.T) {
	var p painter
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
	s.Sweep.Curve = append([]session.CurvePoint{}, s.Sweep.Curve[:100]...)
	if paint(100*time.Millisecond) != first {
		t.Error("the curve was made again too soon")
	}
	second := paint(200 * time.Millisecond)
	if second == first {
		t.Error("a new curve was not told")
	}
	if paint(time.Second) != second {
		t.Error("the same curve was told again")
	}
	if len(s.Sweep.Curve) != 100 {
		t.Error("the shared snapshot was changed")
	}
}

func TestUnwritableStateIsAnError(t *testing.T) {
	var p painter
	s := linnet(0)
	s.Devices[0].ReadingMM = ptr(math.NaN())
	if _, err := p.paint(s, time.Now()); err == nil {
		t.Error("NaN passed for JSON")
	}
}

// BenchmarkPaint is the cost of one frame, paid 15 times a second while any page is open.
func BenchmarkPaint(b *testing.B) {
	var p painter
	p.indicators = []sweep.Indicator{{RadiusMM: 120}}
	s := linnet(0)
	now := time.Now()
	b.ReportAllocs()
	for b.Loop() {
		now = now.Add(stateEvery)
		f, err := p.paint(s, now)
		if err != nil || !json.Valid(f.state) {
			b.Fatal(err)
		}
	}
}
