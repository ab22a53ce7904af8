package store

import (
	"encoding/binary"
	"errors"
	"hash/crc32"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"tramd/sweep"
)

func TestChunkRoundTrip(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	nan := math.NaN()
	inch := make([]sweep.Point, 50)
	for i := range inch {
		inch[i] = sweep.Point{T: float64(i), Angle: nan, Reading: float64(i%7) * 0.00127}
	}
	two := handTurned(rng, 400)
	for i := range two {
		two[i].Indicator = i % 2
		two[i].Reading += float64(i%2) * 4.5
	}
	gaps := handTurned(rng, 300)
	for i := range gaps {
		if i < 10 || i%50 > 40 {
			gaps[i].Angle = nan
		}
	}
	for name, pts := range map[string][]sweep.Point{
		"one reading":           {{T: 1.5, Angle: -0.25, Reading: 0.001}},
		"one without an angle":  {{T: 0, Angle: nan, Reading: -3}},
		"hand-turned":           handTurned(rng, 1000),
		"two indicators":        two,
		"angle comes and goes":  gaps,
		"inch display, stopped": inch,
		"the largest numbers": {
			{T: -1e9, Angle: sweep.Radians(-1e9), Reading: -10000, Indicator: 1023},
			{T: 1e9, Angle: sweep.Radians(1e9), Reading: 10000, Indicator: 1023},
			{T: -1e9, Angle: sweep.Radians(-1e9), Reading: -10000, Indicator: 0},
			{T: 1e9, Angle: nan, Reading: 0, Indicator: 1023}},
		"a full chunk": handTurned(rng, maxChunk),
	} {
		t.Run(name, func(t *testing.T) {
			data, err := encodeChunk(pts)
			if err != nil {
				t.Fatal(err)
			}
			got, err := decodeChunk(data)
			if err != nil {
				t.Fatal(err)
			}
			samePoints(t, got, pts)
		})
	}
}

// What is whole microseconds, 1e-4 degrees and nanometres comes back to the last one, and packing it again changes
// nothing.
func TestChunkIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 60).Draw(t, "n")
		unit := rapid.SampledFrom([]int64{1, 500, 1000, 1270, 25400}).Draw(t, "unit")
		want := columns{}
		for range n {
			tagged := rapid.Bool().Draw(t, "tagged")
			var steps int64
			if tagged {
				steps = rapid.Int64Range(-maxSteps, maxSteps).Draw(t, "steps")
			}
			want.micros = append(want.micros, rapid.Int64Range(-maxMicros, maxMicros).Draw(t, "µs"))
			want.steps = append(want.steps, steps)
			want.tagged = append(want.tagged, tagged)
			want.nano = append(want.nano, rapid.Int64Range(-maxNano/unit, maxNano/unit).Draw(t, "nm")*unit)
			want.indicator = append(want.indicator, rapid.IntRange(0, 3).Draw(t, "indicator"))
		}
		data, err := encodeChunk(want.points())
		if err != nil {
			t.Fatal(err)
		}
		got, err := decodeColumns(data)
		if err != nil {
			t.Fatal(err)
		}
		for i := range n {
			if got.micros[i] != want.micros[i] || got.steps[i] != want.steps[i] || got.nano[i] != want.nano[i] ||
				got.tagged[i] != want.tagged[i] || got.indicator[i] != want.indicator[i] {
				t.Fatalf("reading %d: got %d %d %v %d %d, want %d %d %v %d %d", i,
					got.micros[i], got.steps[i], got.tagged[i], got.nano[i], got.indicator[i],
					want.micros[i], want.steps[i], want.tagged[i], want.nano[i], want.indicator[i])
			}
		}
	})
}

// The bytes on disk are a promise to files already written.
func TestChunkLayout(t *testing.T) {
	pts := []sweep.Point{
		{T: 1, Angle: 0, Reading: 0.003},
		{T: 1.001, Angle: sweep.Radians(0.03), Reading: 0.005},
		{T: 1.002, Angle: math.NaN(), Reading: 0.001},
	}
	body := []byte{
		0x80, 0x89, 0x7a, 0xd0, 0x0f, 0x00, // 1,000,000 µs, step 1,000, change 0
		0, 3, // indicator 0, three times
		2, 1, // two with an angle, one without
		0, 0xd8, 0x04, // 0, step 300
		0xd0, 0x0f, // divisor 2,000 nm
		0xf0, 0x2e, 2, 3, // 3,000 nm, +1, -2
	}
	want := append([]byte{1, 0, 3, byte(len(body))}, body...)
	want = binary.LittleEndian.AppendUint32(want, crc32.Checksum(want, crc32.MakeTable(crc32.Castagnoli)))
	got, err := encodeChunk(pts)
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != string(want) {
		t.Errorf("got  % x\nwant % x", got, want)
	}
}

func TestChunkRefuses(t *testing.T) {
	good := sweep.Point{T: 1, Angle: 1, Reading: 1}
	for name, tc := range map[string]struct {
		change func(*sweep.Point)
		says   string
	}{
		"time not a number":      {func(p *sweep.Point) { p.T = math.NaN() }, "reading 2: time NaN s"},
		"time infinite":          {func(p *sweep.Point) { p.T = math.Inf(-1) }, "reading 2: time -Inf s"},
		"angle infinite":         {func(p *sweep.Point) { p.Angle = math.Inf(1) }, "reading 2: angle +Inf rad"},
		"angle absurd":           {func(p *sweep.Point) { p.Angle = 1e12 }, "reading 2: angle 1e+12 rad"},
		"reading not a number":   {func(p *sweep.Point) { p.Reading = math.NaN() }, "reading 2: length NaN mm"},
		"reading infinite":       {func(p *sweep.Point) { p.Reading = math.Inf(1) }, "reading 2: length +Inf mm"},
		"reading beyond 10 m":    {func(p *sweep.Point) { p.Reading = 10001 }, "reading 2: length 10001 mm"},
		"indicator negative":     {func(p *sweep.Point) { p.Indicator = -1 }, "no indicator number -1"},
		"indicator out of range": {func(p *sweep.Point) { p.Indicator = maxIndicators }, "no indicator number 1024"},
	} {
		t.Run(name, func(t *testing.T) {
			bad := good
			tc.change(&bad)
			_, err := encodeChunk([]sweep.Point{good, bad})
			if err == nil || !strings.Contains(err.Error(), tc.says) {
				t.Errorf("got %v, want an error that says %q", err, tc.says)
			}
		})
	}
}

// Every single changed byte and every cut is noticed.
func TestChunkNoticesDamage(t *testing.T) {
	data, err := encodeChunk(handTurned(rand.New(rand.NewPCG(3, 4)), 200))
	if err != nil {
		t.Fatal(err)
	}
	for i := range data {
		bad := append([]byte(nil), data...)
		bad[i] ^= 0x41
		if _, err := decodeChunk(bad); !errors.Is(err, ErrDamaged) {
			t.Fatalf("byte %d changed: got %v, want ErrDamaged", i, err)
		}
		if _, err := decodeChunk(data[:i]); !errors.Is(err, ErrDamaged) {
			t.Fatalf("cut after %d: got %v, want ErrDamaged", i, err)
		}
	}
}

// FuzzChunk feeds the decoder bytes whose checksum has been made good, so that the columns behind it are reached.
func FuzzChunk(f *testing.F) {
	rng := rand.New(rand.NewPCG(5, 6))
	two := handTurned(rng, 6)
	two[1].Indicator, two[3].Angle = 1, math.NaN()
	for _, pts := range [][]sweep.Point{handTurned(rng, 1), two, handTurned(rng, 300)} {
		data, err := encodeChunk(pts)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 4 {
			end := len(data) - 4
			data = binary.LittleEndian.AppendUint32(append([]byte(nil), data[:end]...),
				crc32.Checksum(data[:end], castagnoli))
		}
		pts, err := decodeChunk(data)
		if err != nil {
			return
		}
		again, err := encodeChunk(pts)
		if err != nil {
			t.Fatalf("what was decoded cannot be encoded: %v", err)
		}
		back, err := decodeChunk(again)
		if err != nil {
			t.Fatal(err)
		}
		if len(back) != len(pts) {
			t.Fatalf("got %d readings, want %d", len(back), len(pts))
		}
		for i := range pts {
			a, b := pts[i], back[i]
			if a.T != b.T || a.Reading != b.Reading || a.Indicator != b.Indicator ||
				a.Angle != b.Angle && !(math.IsNaN(a.Angle) && math.IsNaN(b.Angle)) {
				t.Fatalf("reading %d: got %+v, want %+v", i, b, a)
			}
		}
	})
}

func encodeChunk(pts []sweep.Point) ([]byte, error) { return encodeSamples(Samples{Points: pts}) }
