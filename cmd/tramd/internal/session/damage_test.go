package session

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"tramd/device"
	"tramd/device/frame"
	"tramd/sweep"
)

var damageReport = flag.Bool("damage", false,
	"print how many wrong angles of 100,000 damaged encoder lines are believed, by line and kind of damage")

// One damaged line of an encoder shows no wrong angle, neither where the arm stands nor where it turns: what lies far
// from the arm's course waits for the next line. Run with -damage for the whole table.
func TestADamagedEncoderLineMovesNoAngle(t *testing.T) {
	damages := []struct {
		name string
		do   func(r *rand.Rand, l []byte) []byte
	}{
		{"a character lost", func(r *rand.Rand, l []byte) []byte {
			i := r.IntN(len(l))
			return append(l[:i:i], l[i+1:]...)
		}},
		{"a character doubled", func(r *rand.Rand, l []byte) []byte {
			i := r.IntN(len(l))
			return append(l[:i+1:i+1], l[i:]...)
		}},
		{"a bit flipped", func(r *rand.Rand, l []byte) []byte {
			out := append([]byte(nil), l...)
			out[r.IntN(len(out))] ^= 1 << r.IntN(8)
			return out
		}},
	}
	n := 2000
	if *damageReport {
		n = 100_000
		fmt.Println("| line | damage | believed wrong before | now |\n|---|---|---|---|")
	}
	for _, line := range []struct {
		name   string
		text   func(deg float64) string
		counts int64
	}{
		{"`1024`", func(deg float64) string { return fmt.Sprintf("%d", int64(math.Round(deg*10))) }, 3600},
		{"`+001024`", func(deg float64) string { return fmt.Sprintf("%+07d", int64(math.Round(deg*10))) }, 3600},
		{"`102.40 deg`", func(deg float64) string { return fmt.Sprintf("%.2f deg", math.Mod(deg, 360)) }, 0},
	} {
		for _, d := range damages {
			before, now := 0, 0
			r := rand.New(rand.NewPCG(3, 4))
			f := frame.NewEncoderFramer(line.counts)
			e := sweep.NewEncoder(sweep.EncoderOptions{CountsPerTurn: line.counts})
			drop := func(sweep.Point) {}
			at, deg, damaged := 0.0, 0.0, 0
			off := func(shown float64) bool { return math.Abs(math.Remainder(shown-deg, 360)) > 1 }
			for i := 0; damaged < n; i++ {
				at += 0.01
				if i/1000%2 == 0 { // it turns for 10 s at 18 degrees a second, and stands for 10 s
					deg += 0.18
				}
				text := []byte(line.text(deg))
				bad := i > 100 && i%25 == 0
				if bad {
					damaged++
					text = d.do(r, text)
				}
				for _, s := range f.Feed(nil, append(text, '\n'), device.Stamp(at*1e9)) {
					shown := float64(s.Value) / 1e6
					if s.Kind == frame.Count {
						shown = float64(s.Value) * 360 / float64(line.counts)
						e.AddCount(at, s.Value, false, drop)
					} else {
						e.AddDegrees(at, shown, false, drop)
					}
					if bad && off(shown) {
						before++
					}
				}
				if rad, _, known := e.Angle(); known && off(sweep.Degrees(rad)) {
					now++
				} else if i > 0 && !known {
					t.Fatalf("%s, %s: the angle was lost by %q", line.name, d.name, text)
				}
			}
			if *damageReport {
				fmt.Printf("| %s | %s | %d | %d |\n", line.name, d.name, before, now)
			}
			most := 0
			if d.name == "a bit flipped" { // a digit that is one or two off lies near the course
				most = n / 100
			}
			if now > most || before < n/20 {
				t.Errorf("%s, %s: %d of %d believed before, %d now", line.name, d.name, before, n, now)
			}
		}
	}
}

// The width of a line does not show a flipped bit. The line before and the line after do: limits and the pair take what
// two lines agree on, and what is shown leaves out a step that one line alone shows.
func TestAFlippedBitReachesNoLimit(t *testing.T) {
	n := 2000
	if *damageReport {
		n = 100_000
		fmt.Println("| line | believed by the frame | shown | at a limit |\n|---|---|---|---|")
	}
	for _, line := range []struct {
		name string
		text func(mm float64) string
	}{
		{"`1.234`", func(mm float64) string { return fmt.Sprintf("%.3f", mm) }},
		{"`+01.2345 mm`", func(mm float64) string { return fmt.Sprintf("%+08.4f mm", mm) }},
	} {
		r := rand.New(rand.NewPCG(5, 6))
		f := frame.NewTextFramer()
		var l latest
		frame, shown, limit := 0, 0, 0
		for i, damaged := 0, 0; damaged < n; i++ {
			at := device.Stamp(i+100) * 100e6
			mm := 5 + 0.3*math.Sin(float64(i)/50) + 0.001*r.NormFloat64() // up to 6 um from line to line
			text := []byte(line.text(mm))
			if i > 50 && i%10 == 0 {
				text[r.IntN(len(text))] ^= 1 << r.IntN(8)
				damaged++
			}
			off := func(x float64) bool { return math.Abs(x-mm) > 0.02 }
			for _, s := range f.Feed(nil, append(text, '\n'), at) {
				l.take(at, s.Length())
				if off(s.Length().MM()) {
					frame++
				}
				if off(l.shown().MM()) {
					shown++
				}
				if off(l.agreed().MM()) {
					limit++
				}
			}
		}
		if *damageReport {
			fmt.Printf("| %s | %d | %d | %d |\n", line.name, frame, shown, limit)
		}
		if limit > 0 || shown > n/100 || frame < n/20 {
			t.Errorf("%s: of %d flipped bits %d came through the frame, %d were shown, %d reached a limit", line.name,
				n, frame, shown, limit)
		}
	}
}
