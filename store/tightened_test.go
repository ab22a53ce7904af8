package store

import (
	"errors"
	"math"
	"testing"
	"time"
)

func TestTightenings(t *testing.T) {
	s := fresh(t)
	for _, x := range []*Tightened{{1.25, 1.262}, nil, {-0.5, -0.503}} {
		if _, err := s.AddEvent(t.Context(), Event{At: time.Now(), Kind: "adjusted", Tightened: x}); err != nil {
			t.Fatal(err)
		}
	}
	for _, bad := range []Tightened{{math.NaN(), 0}, {0, math.Inf(1)}, {2000, 0}} {
		if _, err := s.AddEvent(t.Context(), Event{At: time.Now(), Kind: "adjusted", Tightened: &bad}); !errors.Is(
			err, ErrEvent) {
			t.Errorf("%v: got %v", bad, err)
		}
	}
	if _, err := s.AddEvent(t.Context(), Event{At: time.Now(), Kind: "note", Tightened: &Tightened{}}); !errors.Is(
		err, ErrEvent) {
		t.Errorf("a note that tightened something: got %v", err)
	}
	got, err := s.Tightenings(t.Context(), 10)
	if err != nil {
		t.Fatal(err)
	}
	want := []Tightened{{-0.5, -0.503}, {1.25, 1.262}}
	if len(got) != len(want) || got[0] != want[0] || got[1] != want[1] {
		t.Errorf("got %v, want %v", got, want)
	}
}
