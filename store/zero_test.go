package store

import (
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// A zero is stored with its date and setup; one of another encoder is not taken up, and one whose mark was passed later
// takes the earlier one's place.
func TestAZeroIsKeptWithItsDateAndSetup(t *testing.T) {
	ctx := t.Context()
	path := filepath.Join(t.TempDir(), "linnet.db")
	s := open(t, path)
	if z, err := s.LastZero(ctx, "this"); z != nil || err != nil {
		t.Fatalf("%v, %v in a new record", z, err)
	}
	put := Zero{At: day, ClockSet: true, Setup: setupOf(t, "0.02/300"), Encoder: "this", ZeroDeg: 217.25,
		Reversed: true}
	if err := s.PutZero(ctx, put); err != nil {
		t.Fatal(err)
	}
	mark := 40.5
	put.IndexDeg = &mark
	if err := s.PutZero(ctx, put); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s = open(t, path)
	z, err := s.LastZero(ctx, "this")
	if err != nil || z == nil {
		t.Fatal(z, err)
	}
	if !z.At.Equal(day) || z.ZeroDeg != 217.25 || !z.Reversed || z.IndexDeg == nil || *z.IndexDeg != mark ||
		z.Setup.Machine != put.Setup.Machine {
		t.Errorf("%+v", z)
	}
	if n, err := numbers(ctx, s.r, "SELECT count(*) FROM zero"); err != nil || n[0] != 1 {
		t.Errorf("%v rows, %v", n, err)
	}
	if z, err := s.LastZero(ctx, "another"); z != nil || err != nil {
		t.Errorf("another encoder: %v, %v", z, err)
	}
	put.At, put.Encoder = day.Add(time.Hour), "another"
	if err := s.PutZero(ctx, put); err != nil {
		t.Fatal(err)
	}
	if z, err := s.LastZero(ctx, "this"); z != nil || err != nil {
		t.Errorf("the zero of an encoder that was exchanged since: %v, %v", z, err)
	}
	put.ZeroDeg = 4000
	if err := s.PutZero(ctx, put); err == nil || !strings.Contains(err.Error(), "no spindle angle") {
		t.Error(err)
	}
}
