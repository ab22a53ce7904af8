package sweep

import (
	"math"
	"math/rand/v2"
	"testing"
)

// turner plays the person: dwells at each station, and stirs the plunger while turning to the next.
func turner(s *Stations, heights []float64, noise float64, rng *rand.Rand) (taken []StationReading) {
	at := 0.0
	step := func(mm float64) {
		at += 0.05
		mm = math.Round((mm+noise*rng.NormFloat64())*1000) / 1000
		if r, ok := s.AddReading(at, mm, 0); ok {
			taken = append(taken, r)
		}
	}
	for i, h := range heights {
		for range 60 {
			step(h)
		}
		if i+1 < len(heights) {
			for k := range 30 { // 1.5 s of turning, with the plunger running over the table
				f := float64(k) / 30
				step(h + (heights[i+1]-h)*f + 0.02*math.Sin(20*f))
			}
		}
	}
	return taken
}

func TestStationsAreTakenWhenTheReadingHasSettled(t *testing.T) {
	for _, noise := range []float64{0, 0.0005, 0.001} {
		heights := []float64{0.100, 0.140, 0.080, 0.095, 0.100}
		s := NewStations(StationOptions{AnglesDeg: []float64{0, 90, 180, 270}, Closing: true, Resolution: 0.001})
		taken := turner(s, heights, noise, rand.New(rand.NewPCG(3, 4)))
		if len(taken) != 5 || !s.Done() {
			t.Fatalf("noise %v: %d stations taken, want 5", noise, len(taken))
		}
		for i, r := range taken {
			if d := math.Abs(r.Reading - heights[i]); d > 0.001+noise {
				t.Errorf("noise %v: station %v reads %v, want %v", noise, r.Deg, r.Reading, heights[i])
			}
		}
		if a := taken[4].Points[0].Angle; math.Abs(a-2*math.Pi) > 1e-12 {
			t.Errorf("the closing station lies at %v rad, want a full turn", a)
		}
	}
}

func TestALeanOnTheTableIsNotAStation(t *testing.T) {
	s := NewStations(StationOptions{AnglesDeg: []float64{0, 180}, Resolution: 0.001})
	at := 0.0
	feed := func(n int, mm float64) (taken int) {
		for range n {
			at += 0.05
			if _, ok := s.AddReading(at, mm, 0); ok {
				taken++
			}
		}
		return taken
	}
	if feed(40, 0.5) != 1 {
		t.Fatal("the first station was not taken")
	}
	if feed(4, 0.52)+feed(100, 0.5) != 0 {
		t.Error("a short stir that came back was taken for a turn of the arm")
	}
	if feed(100, 0.5) != 0 {
		t.Error("an arm that never moved was taken for the next station")
	}
	if _, ok := s.TakeNow(); !ok || !s.Done() {
		t.Error("the person's word was not taken")
	}
}

func TestSlowTurningIsNotSettled(t *testing.T) {
	s := NewStations(StationOptions{AnglesDeg: []float64{0, 90}, Resolution: 0.001})
	for i := range 200 { // 0.02 mm a second, read five times a second
		if _, ok := s.AddReading(float64(i)*0.2, 0.004*float64(i), 0); ok {
			t.Fatal("taken while the arm was turning")
		}
	}
}

func TestStationsRefuseWhatIsNoReading(t *testing.T) {
	s := NewStations(StationOptions{AnglesDeg: []float64{0, 90}})
	for range 100 {
		if _, ok := s.AddReading(math.NaN(), 0, 0); ok {
			t.Fatal("taken from nothing")
		}
		s.AddReading(1, math.Inf(1), 0)
		s.AddReading(1, 1, 7)
	}
	if _, ok := s.TakeNow(); ok {
		t.Error("taken without a reading")
	}
}
