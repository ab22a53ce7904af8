package store

import (
	"encoding/json"
	"fmt"
	"math"
	"os/exec"
	"testing"

	"tramd/sweep"
)

// turnedByHand is a sweep as a hand turns it, past a full turn and back a little: two indicators, angles that are not
// known at the start and in the middle, one reading that repeats, one that jumps.
func turnedByHand(n int) Samples {
	var s Samples
	for i := range n {
		angle := sweep.Radians(-20 + 0.9*float64(i) + 3*math.Sin(float64(i)/9))
		if i < 5 || i > n/2 && i < n/2+9 {
			angle = math.NaN()
		}
		mm := 0.012 * math.Cos(float64(i)/40)
		if i == n/3 {
			mm = -1.5
		}
		s.Points = append(s.Points, sweep.Point{T: 0.004 * float64(i+i/7), Angle: angle,
			Reading: math.Round(mm*1e3) / 1e3, Indicator: i / 3 % 2})
	}
	return s
}

// Another program reads the readings themselves, by FORMAT.md and nothing of ours: a sweep (layout 1) and a measurement
// with columns of its own (layout 2), each in two chunks.
func TestAnotherProgramReadsReadings(t *testing.T) {
	for name, want := range map[string]Samples{"sweep": turnedByHand(500), "traverse": traverse(80)} {
		s := fresh(t)
		id, err := s.BeginRun(t.Context(), NewRun{Kind: name, Purpose: "check", Setup: setupOf(t, "0.02/300"),
			StartedAt: day, ClockSet: true})
		if err != nil {
			t.Fatal(err)
		}
		half := len(want.Points) / 2
		for _, part := range []Samples{want.part(0, half), want.part(half, len(want.Points))} {
			if err := s.AppendSamples(t.Context(), id, part); err != nil {
				t.Fatal(err)
			}
		}
		text, err := exec.Command("python3", "testdata/read_chunks.py", s.path, fmt.Sprint(id)).CombinedOutput()
		if err != nil {
			t.Fatalf("%s: %v: %s", name, err, text)
		}
		var got []any
		if err := json.Unmarshal(text, &got); err != nil {
			t.Fatalf("%s: %v: %s", name, err, text)
		}
		if len(got) != len(want.Points) {
			t.Fatalf("%s: %d readings, want %d", name, len(got), len(want.Points))
		}
		for i, p := range want.Points {
			columns := map[string]any{}
			for _, c := range want.Columns {
				switch {
				case c.Words != nil:
					columns[c.Name] = c.Words[i]
				case math.IsNaN(c.Values[i]):
					columns[c.Name] = nil
				default:
					columns[c.Name] = c.Values[i]
				}
			}
			row := []any{math.Round(p.T * 1e6), p.Indicator, nil, int64(math.Round(p.Reading * 1e6)), columns}
			if !math.IsNaN(p.Angle) {
				row[2] = math.Round(sweep.Degrees(p.Angle) * 1e4)
			}
			a, errA := json.Marshal(got[i])
			b, errB := json.Marshal(row)
			if errA != nil || errB != nil || string(a) != string(b) {
				t.Fatalf("%s: reading %d is %s, want %s", name, i, a, b)
			}
		}
	}
}
