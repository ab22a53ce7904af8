package bench

import (
	"context"
	"math"
	"os"
	"testing"
	"time"
)

func start(t *testing.T, p Params) *Machine {
	t.Helper()
	m, err := Start(t.Context(), p)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := m.Close(); err != nil {
			t.Errorf("close: %v", err)
		}
		if _, err := os.Lstat(m.dir); !os.IsNotExist(err) {
			t.Errorf("after close, %s is still there (%v)", m.dir, err)
		}
	})
	return m
}

// sweep turns the arm, and gives the angles and readings that came over the wire meanwhile.
func sweep(t *testing.T, m *Machine, turns, rpm float64) (deg, mm []float64) {
	t.Helper()
	origin := time.Now()
	readings := listen(t, m.IndicatorPath(), readingLine, origin)
	counts := listen(t, m.EncoderPath(), countLine, origin)
	time.Sleep(50 * time.Millisecond)
	m.Turn(turns, rpm)
	<-m.TurnDone()
	time.Sleep(50 * time.Millisecond)
	readings.stop(t)
	counts.stop(t)
	for i, at := range readings.at {
		if d, ok := counts.degAt(at, m.params.CountsPerTurn); ok {
			deg, mm = append(deg, d), append(mm, readings.value[i])
		}
	}
	return deg, mm
}

func TestBytesGiveTheTruth(t *testing.T) {
	for name, test := range map[string]struct {
		change    func(*Params)
		turns     float64
		tolerance float64 // mm/m
	}{
		// What is left: the two ports are stamped up to a millisecond apart while the arm goes at 2 rev/s or so at its fastest.
		"silent, counter-clockwise": {func(p *Params) { p.NoiseMM, p.SlowNoiseMM, p.BadLineEvery = 0, 0, 0 }, 2, 0.004},
		"silent, clockwise":         {func(p *Params) { p.NoiseMM, p.SlowNoiseMM, p.BadLineEvery = 0, 0, 0 }, -2, 0.004},
		// The slow noise, 0.0008 mm over 120 mm, hardly averages out over 2 s.
		"as the demo has it": {func(*Params) {}, 2, 0.025},
		"another lean, finer display": {func(p *Params) {
			p.Truth = Truth{TiltMMPerM: -0.2, NodMMPerM: 1.1}
			p.RadiusMM, p.ResolutionMM, p.OffsetMM = 80, 0.0005, -3.2
		}, 2, 0.035},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := Linnet()
			p.IndicatorHz, p.EncoderHz = 500, 500
			test.change(&p)
			m := start(t, p)
			deg, mm := sweep(t, m, test.turns, 60)
			if len(deg) < 800 {
				t.Fatalf("only %d readings came", len(deg))
			}
			if whole := deg[len(deg)-1] - deg[0]; math.Abs(whole-test.turns*360) > 0.1 {
				t.Errorf("the encoder counted %.2f deg, want %.0f", whole, test.turns*360)
			}
			got, want := firstHarmonic(deg, mm, p.RadiusMM), m.Truth()
			t.Logf("got %+v", got)
			if math.Abs(got.TiltMMPerM-want.TiltMMPerM) > test.tolerance || math.Abs(got.NodMMPerM-want.NodMMPerM) > test.tolerance {
				t.Errorf("the bytes say %+v, the truth is %+v, allowed %v", got, want, test.tolerance)
			}
		})
	}
}

func TestAdjustShowsOnTheWire(t *testing.T) {
	t.Parallel()
	p := Linnet()
	p.IndicatorHz, p.EncoderHz, p.NoiseMM, p.SlowNoiseMM = 500, 500, 0, 0
	m := start(t, p)
	before := m.Truth()
	m.Adjust(-0.4, 0.6)
	after := m.Truth()
	if d := after.TiltMMPerM - before.TiltMMPerM; math.Abs(d+0.4) > 0.1 || d == -0.4 {
		t.Errorf("tilt moved by %v, want about -0.4 and some cross-coupling", d)
	}
	if d := after.NodMMPerM - before.NodMMPerM; math.Abs(d-0.6) > 0.1 || d == 0.6 {
		t.Errorf("nod moved by %v, want about 0.6 and some cross-coupling", d)
	}
	deg, mm := sweep(t, m, 1, 60)
	got := firstHarmonic(deg, mm, p.RadiusMM)
	if math.Abs(got.TiltMMPerM-after.TiltMMPerM) > 0.004 || math.Abs(got.NodMMPerM-after.NodMMPerM) > 0.004 {
		t.Errorf("the bytes say %+v, the truth is %+v", got, after)
	}
}

func TestSpoiltLinesComeAtTheirRate(t *testing.T) {
	t.Parallel()
	p := Linnet()
	p.IndicatorHz, p.EncoderHz, p.BadLineEvery = 2000, 2000, 20
	m := start(t, p)
	readings := listen(t, m.IndicatorPath(), readingLine, time.Now())
	counts := listen(t, m.EncoderPath(), countLine, time.Now())
	m.Turn(10, 400)
	<-m.TurnDone()
	readings.stop(t)
	counts.stop(t)
	for name, w := range map[string]*wire{Indicator: readings, Encoder: counts} {
		lines := float64(len(w.value) + w.bad)
		want, sigma := lines/20, math.Sqrt(lines/20)
		if lines < 2000 || math.Abs(float64(w.bad)-want) > 5*sigma {
			t.Errorf("%s: %d of %.0f lines were bad, want %.0f give or take %.0f", name, w.bad, lines, want, 5*sigma)
		}
		for i := 1; i < len(w.value); i++ {
			// A spoilt line must not pass for a good one.
			if step := math.Abs(w.value[i] - w.value[i-1]); name == Indicator && step > 0.1 || name == Encoder && step > 1000 {
				t.Errorf("%s: jumped from %v to %v", name, w.value[i-1], w.value[i])
			}
		}
	}
}

func TestStalledReaderHoldsNothingUp(t *testing.T) {
	t.Parallel()
	p := Linnet()
	p.IndicatorHz, p.BadLineEvery = 5000, 0
	m := start(t, p)
	stalled, err := os.OpenFile(m.IndicatorPath(), os.O_RDWR, 0) // and never read
	if err != nil {
		t.Fatal(err)
	}
	m.Turn(1, 60)
	<-m.TurnDone()
	if _, dropped := m.Lines(Indicator); dropped == 0 {
		t.Errorf("5000 lines a second into a stalled reader, and none were dropped")
	}
	if got := m.Angle(); got != 360 {
		t.Errorf("the arm is at %v, want 360", got)
	}
	if err := stalled.Close(); err != nil {
		t.Error(err)
	}
	readings := listen(t, m.IndicatorPath(), readingLine, time.Now())
	time.Sleep(200 * time.Millisecond)
	readings.stop(t)
	if len(readings.value) < 500 || readings.bad > 1 {
		t.Errorf("after the stall: %d readings and %d bad lines, want about 1000 and at most the one that was cut", len(readings.value), readings.bad)
	}
}

func TestNothingStaleWaitsForAReader(t *testing.T) {
	t.Parallel()
	m := start(t, Linnet())
	time.Sleep(300 * time.Millisecond)
	if written, dropped := m.Lines(Indicator); written != 0 || dropped == 0 {
		t.Errorf("with nobody listening %d lines went out and %d were dropped, want none and some", written, dropped)
	}
}

func TestRateDoesNotDrift(t *testing.T) {
	t.Parallel()
	p := Linnet()
	p.IndicatorHz = 700
	m := start(t, p)
	count := func() float64 {
		written, dropped := m.Lines(Indicator)
		return float64(written + dropped)
	}
	n0, t0 := count(), time.Now()
	time.Sleep(time.Second)
	n, want := count()-n0, time.Since(t0).Seconds()*700
	// A pause of the computer may delay lines, and those are made up for: 30 of them are 43 ms.
	if math.Abs(n-want) > 30 {
		t.Errorf("%v lines, want %.0f", n, want)
	}
}

func TestUnplugAndReplug(t *testing.T) {
	t.Parallel()
	m := start(t, Linnet())
	path := m.IndicatorPath()
	w := listen(t, path, readingLine, time.Now())
	if err := m.Unplug(Indicator); err != nil {
		t.Fatal(err)
	}
	select {
	case <-w.ended:
	case <-time.After(5 * time.Second):
		t.Fatal("the reader never learnt that the port is gone")
	}
	w.stop(t)
	if _, err := os.Stat(path); !os.IsNotExist(err) {
		t.Errorf("the unplugged port is still there: %v", err)
	}
	if err := m.Replug(Indicator); err != nil {
		t.Fatal(err)
	}
	w = listen(t, m.IndicatorPath(), readingLine, time.Now())
	time.Sleep(300 * time.Millisecond)
	w.stop(t)
	if len(w.value) < 10 || m.IndicatorPath() != path {
		t.Errorf("after plugging in again %d readings came at %s, want about 30 at %s", len(w.value), m.IndicatorPath(), path)
	}
	if m.Unplug("bell") == nil || m.Replug("bell") == nil {
		t.Error("a port that does not exist was unplugged or plugged in")
	}
}

func TestEndings(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(context.Background())
	m, err := Start(ctx, Linnet())
	if err != nil {
		t.Fatal(err)
	}
	m.Turn(100, 1)
	done := m.TurnDone()
	cancel()
	for range 2 {
		if err := m.Close(); err != nil {
			t.Error(err)
		}
	}
	select {
	case <-done:
	case <-time.After(5 * time.Second):
		t.Error("close left somebody waiting for the hand")
	}
	m.Turn(1, 60) // must not start anything
	if m.Replug(Encoder) == nil {
		t.Error("a port of a closed machine was plugged in")
	}
}
