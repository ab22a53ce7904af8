package session

import (
	"errors"
	"fmt"
	"math"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep"
)

// railAt is a traverse of three places, typed.
func railAt(typed bool) Measurement {
	m := Measurement{Kind: "traverse", Subject: "left rail", Typed: typed, Own: []byte(`{}`),
		Setup: sweep.Setup{Machine: "linnet",
			Indicators: []sweep.Indicator{{Name: "dial", RadiusMM: 120, ResolutionMM: 0.001}}}}
	for _, x := range []float64{0, 100, 200} {
		m.Places = append(m.Places, Place{Name: fmt.Sprintf("%g mm", x),
			Do: fmt.Sprintf("Move the indicator to %g mm", x), At: x, Deg: math.NaN(),
			Numbers: map[string]float64{"position_mm": x}})
	}
	return m
}

// meanOf finds the mean of the readings, and nothing in fewer than two.
func meanOf(_ Measurement, pts []sweep.Point, spots *Spots) (Found, error) {
	if len(pts) < 2 || len(pts) != len(spots.At) {
		return Found{}, errors.New("too few readings")
	}
	sum := 0.0
	for _, p := range pts {
		sum += p.Reading
	}
	return Found{JSON: fmt.Appendf(nil, `{"mean":%.3f}`, sum/float64(len(pts))), Model: "mean", Version: 1,
		Say: "mean"}, nil
}

// Places are typed, taken again and skipped; the end holds what counts, and the encoder that is gone does not matter.
func TestAMeasurementPlaceByPlace(t *testing.T) {
	t.Parallel()
	r := newRig(t, time.Minute)
	r.o.Measure = meanOf
	ctx := t.Context()
	run, err := r.StartMeasurement(ctx, railAt(true), "check")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := r.Start(ctx, 1, "check"); err == nil {
		t.Error("a sweep was begun beside it")
	}
	put := func(text string) {
		t.Helper()
		if err := r.Put(ctx, run, "", text); err != nil {
			t.Fatal(err)
		}
	}
	put("0.1 mm")
	put("9 mm")
	if err := r.Redo(ctx, run, -1); err != nil {
		t.Fatal(err)
	}
	if err := r.Put(ctx, run, "arm", "0.3"); err == nil {
		t.Error("a reading of another indicator was taken")
	}
	put("0.3 mm")
	var st api.SweepState
	for end := time.Now().Add(time.Minute); ; time.Sleep(5 * time.Millisecond) {
		snap, err := r.Snapshot(ctx)
		if err != nil {
			t.Fatal(err)
		}
		if st = snap.Sweep; st.Measured != nil && string(st.Measured.Found) == `{"mean":0.200}` {
			break
		}
		if time.Now().After(end) {
			t.Fatalf("live: %+v", st.Measured)
		}
	}
	if p := st.Measured.Places; p[0].State != "taken" || p[2].State != "here" || *p[1].ReadingMM != 0.3 ||
		st.Say != "Move the indicator to 200 mm and type the reading." || st.Wanted != "dial" {
		t.Errorf("places %+v, says %q, wants %q", p, st.Say, st.Wanted)
	}
	if err := r.Take(ctx, run); err == nil {
		t.Error("a typed place was taken without a reading")
	}
	if err := r.Skip(ctx, run); err != nil {
		t.Fatal(err)
	}
	for end := time.Now().Add(time.Minute); ; time.Sleep(5 * time.Millisecond) {
		r.shelf.mu.Lock()
		ends := append([]Ending(nil), r.shelf.ends...)
		r.shelf.mu.Unlock()
		if len(ends) == 1 {
			if e := ends[0]; e.Outcome != api.Finished || e.Result != nil || e.Found == nil ||
				string(e.Found.JSON) != `{"mean":0.200}` {
				t.Errorf("it ended %+v", e)
			}
			break
		}
		if time.Now().After(end) {
			t.Fatalf("%d ends", len(ends))
		}
	}
}

// A measurement that nothing can be fitted to has failed, with its readings kept; one without places is refused.
func TestAMeasurementThatSaysNothing(t *testing.T) {
	t.Parallel()
	r := newRig(t, time.Minute)
	if _, err := r.StartMeasurement(t.Context(), railAt(true), "check"); err == nil {
		t.Error("it was begun without anybody to fit it")
	}
	r.o.Measure = meanOf
	none := railAt(true)
	none.Places = nil
	if _, err := r.StartMeasurement(t.Context(), none, "check"); err == nil {
		t.Error("one without places was begun")
	}
	run, err := r.StartMeasurement(t.Context(), railAt(true), "check")
	if err != nil {
		t.Fatal(err)
	}
	if err := r.Put(t.Context(), run, "", "0.1 mm"); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if err := r.Skip(t.Context(), run); err != nil {
			t.Fatal(err)
		}
	}
	for end := time.Now().Add(time.Minute); ; time.Sleep(5 * time.Millisecond) {
		r.shelf.mu.Lock()
		n := len(r.shelf.ends)
		var e Ending
		if n > 0 {
			e = r.shelf.ends[0]
		}
		r.shelf.mu.Unlock()
		if n > 0 {
			if e.Outcome != api.Failed || e.Why != NotFitted+"too few readings" || e.Found != nil {
				t.Errorf("it ended %+v", e)
			}
			break
		}
		if time.Now().After(end) {
			t.Fatal("it did not end")
		}
	}
}
