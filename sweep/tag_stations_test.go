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

func TestStationsOfANoisyIndicatorAreTakenToo(t *testing.T) {
	heights := []float64{0.300, 0.420, 0.180, 0.250, 0.300}
	for _, noise := range []float64{0.002, 0.004} {
		hit := 0
		for seed := range uint64(20) {
			s := NewStations(StationOptions{AnglesDeg: []float64{0, 90, 180, 270}, Closing: true, Resolution: 0.001})
			taken := turner(s, heights, noise, rand.New(rand.NewPCG(seed, 4)))
			for i, r := range taken {
				// A mean of twenty readings.
				if d := math.Abs(r.Reading - heights[i]); d > 3*noise {
					t.Errorf("noise %v, seed %d: station %v reads %v, want %v", noise, seed, r.Deg, r.Reading,
						heights[i])
				}
			}
			if s.Done() {
				hit++
			}
		}
		if hit < 19 {
			t.Errorf("noise %v: only %d of 20 sweeps were taken hands-free", noise, hit)
		}
	}
}

func TestAStirredPlungerIsNotStill(t *testing.T) {
	for _, first := range []bool{true, false} {
		s := NewStations(StationOptions{AnglesDeg: []float64{0, 90}, Resolution: 0.001})
		at := 0.0
		feed := func(n int, mm func(i int) float64) (taken int) {
			for i := range n {
				at += 0.05
				if _, ok := s.AddReading(at, mm(i), 0); ok {
					taken++
				}
			}
			return taken
		}
		if !first && feed(40, func(int) float64 { return 0.5 }) != 1 {
			t.Fatal("the first station was not taken")
		}
		if feed(400, func(i int) float64 { return 0.7 + 0.05*math.Sin(float64(i)) }) != 0 {
			t.Errorf("taken while it was stirred (first %v)", first)
		}
		if span, long := s.Unsettled(); span < 0.09 || long < 15 {
			t.Errorf("unsettled: %v mm for %v s", span, long)
		}
	}
}

// stand holds one height for n readings.
func stand(s *Stations, at *float64, n int, mm float64) (taken int) {
	for range n {
		*at += 0.05
		if _, ok := s.AddReading(*at, mm, 0); ok {
			taken++
		}
	}
	return taken
}

func TestASkippedStationIsNotTakenAsTheNext(t *testing.T) {
	s := NewStations(StationOptions{AnglesDeg: []float64{0, 90, 180, 270}, Resolution: 0.001})
	at := 0.0
	if stand(s, &at, 40, 0.5) != 1 {
		t.Fatal("not taken")
	}
	stand(s, &at, 20, 0.62)          // at 90, over a hole: not still yet
	if err := s.Skip(); err != nil { // the arm still stands there
		t.Fatal(err)
	}
	if stand(s, &at, 100, 0.62) != 0 {
		t.Error("the skipped place was taken for the next")
	}
	if stand(s, &at, 100, 0.40) != 1 {
		t.Error("the next was not taken")
	}
	if i, deg, _ := s.Here(); i != 3 || deg != 270 {
		t.Errorf("next is %v at %v", i, deg)
	}
	if _, st, _ := s.Station(1); st != StationSkipped || s.Taken() != 2 {
		t.Errorf("station 1 is %v, %d taken", st, s.Taken())
	}
}

func TestAStationIsTakenAgain(t *testing.T) {
	s := NewStations(StationOptions{AnglesDeg: []float64{0, 90, 180}, Closing: true, Resolution: 0.001})
	at := 0.0
	if _, _, err := s.Redo(-1); err == nil {
		t.Error("redone before anything was taken")
	}
	for _, mm := range []float64{0.5, 0.62} {
		if stand(s, &at, 60, mm) != 1 {
			t.Fatal("not taken")
		}
	}
	stand(s, &at, 10, 0.58) // on the way to 180 the person sees that 90 was wrong
	old, had, err := s.Redo(1)
	if err != nil || !had || math.Abs(old.Reading-0.62) > 1e-9 {
		t.Fatalf("%+v %v %v", old, had, err)
	}
	if stand(s, &at, 100, 0.58) != 0 {
		t.Error("taken where the arm stood by chance")
	}
	if stand(s, &at, 60, 0.65) != 1 {
		t.Error("not taken again")
	}
	if _, deg, _ := s.Here(); deg != 180 {
		t.Errorf("goes on with %v", deg)
	}
	if _, _, err := s.Redo(2); err == nil {
		t.Error("a station ahead was redone")
	}
	if _, _, err := s.Redo(9); err == nil {
		t.Error("a station that is not there was redone")
	}
	if err := s.Skip(); err != nil {
		t.Fatal(err)
	}
	if err := s.Skip(); err != nil || !s.Done() {
		t.Errorf("%v, done %v", err, s.Done())
	}
	if s.Skip() == nil {
		t.Error("skipped past the end")
	}
	if _, had, err := s.Redo(-1); err != nil || had {
		t.Errorf("the closing station was skipped, so it had no reading: %v %v", had, err)
	}
	if _, deg, ok := s.Here(); !ok || deg != 0 {
		t.Errorf("next is %v", deg)
	}
}

func TestStationsThatAreToldWaitForTheArrival(t *testing.T) {
	s := NewStations(StationOptions{AnglesDeg: []float64{0, 90}, Resolution: 0.001, Told: true})
	at := 0.0
	if stand(s, &at, 100, 0.5) != 0 {
		t.Fatal("taken before the arm was said to stand")
	}
	s.Arrive()
	if stand(s, &at, 100, 0.5) != 1 {
		t.Fatal("not taken, or twice")
	}
	s.Arrive()
	if stand(s, &at, 100, 0.5) != 1 || !s.Done() { // the same height: a true spindle
		t.Error("not taken")
	}
}

func TestReadingsThatAPersonPutsIn(t *testing.T) {
	s := NewStations(StationOptions{AnglesDeg: []float64{0, 180}, Closing: true, Indicators: 2, Typed: true})
	for i := range 3 {
		if w := s.Wanted(); w != 0 {
			t.Fatalf("station %d wants indicator %d", i, w)
		}
		if _, ok := s.Put(float64(i), 0.1, 0); ok || s.Wanted() != 1 {
			t.Fatal("taken with one of two readings")
		}
		s.Put(float64(i), 0.2, 0) // a slip put right
		r, ok := s.Put(float64(i), 0.3, 1)
		if !ok || r.Points[0].Reading != 0.2 || r.Points[1].Reading != 0.3 || !r.ByHand {
			t.Fatalf("%+v %v", r, ok)
		}
	}
	if !s.Done() {
		t.Error("not done")
	}
	if _, ok := s.Put(9, 0.1, 0); ok {
		t.Error("more than there are stations")
	}
}
