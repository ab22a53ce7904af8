package traverse

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"tramd/sweep"
	"tramd/sweep/line/linetest"
	"tramd/sweep/mixed"
)

// BenchmarkMillion fits a traverse of a million rows from its text, beside the same readings as a sweep.
func BenchmarkMillion(b *testing.B) {
	const rows = 1_000_000
	s := linetest.Scene{Places: rows / 4, Passes: 4, Seconds: 0.001, Length: 600, White: 0.001, Slow: 0.001, Tau: 2,
		Step: 0.001, Bow: 0.004}
	l := s.Draw(rand.New(rand.NewPCG(1, 1)))
	var line, round strings.Builder
	line.WriteString("t_s,position_mm,reading_mm\n")
	round.WriteString("t_s,angle_deg,reading_mm\n")
	for i := range l.T {
		fmt.Fprintf(&line, "%.3f,%.3f,%.3f\n", l.T[i], l.X[i], l.Z[i])
		angle := 4 * 360 * float64(i) / rows
		fmt.Fprintf(&round, "%.3f,%.3f,%.3f\n", l.T[i], angle, l.Z[i]-l.Slope*l.X[i]+
			0.02*math.Cos(sweep.Radians(angle)))
	}
	b.Run("traverse", func(b *testing.B) {
		for b.Loop() {
			if _, err := fitCSV(line.String(), options()); err != nil {
				b.Fatal(err)
			}
		}
	})
	two := strings.ReplaceAll(strings.Replace(line.String(), "reading_mm", "reading_mm,line_mm", 1), "\n", ",7\n")
	two = strings.Replace(two, "line_mm,7", "line_mm", 1)
	b.Run("traverse of a named line", func(b *testing.B) {
		for b.Loop() {
			if _, err := fitCSV(two, options()); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("sweep", func(b *testing.B) {
		setup := sweep.Setup{Indicators: []sweep.Indicator{{RadiusMM: 120, ResolutionMM: 0.001}}}
		for b.Loop() {
			pts, err := sweep.ReadPoints(strings.NewReader(round.String()), setup)
			if err != nil {
				b.Fatal(err)
			}
			if _, err := mixed.Fit(pts, setup); err != nil {
				b.Fatal(err)
			}
		}
	})
}
