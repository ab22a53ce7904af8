package sweep

import (
	"math"
	"testing"
)

// Wrong readings among the settled ones move a station by no more than the noise, whoever takes it.
func TestAWrongReadingMovesNoStation(t *testing.T) {
	for _, byHand := range []bool{false, true} {
		s := NewStations(StationOptions{AnglesDeg: []float64{0, 180}, SettleMM: 0.05, Resolution: 0.001})
		var r StationReading
		done := false
		for i := 0; !done; i++ {
			mm := 0.100 + 0.001*float64(i%2)
			switch {
			case byHand && i == 8:
				mm = 7.1 // a digit changed
			case !byHand && i == 8:
				mm = 0.145 // within what counts as still
			}
			r, done = s.AddReading(float64(i)*0.1, mm, 0)
			if byHand && i == 9 {
				r, done = s.TakeNow()
			}
		}
		if math.Abs(r.Reading-0.1005) > 0.0006 {
			t.Errorf("by hand %v: the station reads %.4f mm, the arm stands at 0.1005", byHand, r.Reading)
		}
	}
}

// Two damaged lines, far enough apart to look like the arm on its way, take no station of an arm that stands still.
func TestLinesAloneDoNotMoveTheArm(t *testing.T) {
	s := NewStations(StationOptions{AnglesDeg: []float64{0, 90, 180}, Resolution: 0.001})
	for i := range 100 {
		mm := 0.100
		if i == 30 || i == 40 { // a second apart
			mm = 1.100
		}
		s.AddReading(float64(i)*0.1, mm, 0)
	}
	if s.Taken() != 1 || s.Moved() {
		t.Errorf("%d stations were taken of an arm that stands still; moved %v", s.Taken(), s.Moved())
	}
	for i := 100; s.Taken() < 2 && i < 200; i++ {
		s.AddReading(float64(i)*0.1, 0.300, 0)
	}
	if _, _, r := s.Station(1); s.Taken() != 2 || math.Abs(r.Reading-0.3) > 1e-9 {
		t.Errorf("an arm that was moved: %d taken, %+v", s.Taken(), r)
	}
}
