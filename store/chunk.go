package store

import (
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"math"

	"tramd/sweep"
	"tramd/sweep/units"
)

// A chunk is a stretch of readings packed into one blob. Layout, version 1 (version 2: chunk_extra.go):
//
//	byte      version, 1 or 2
//	byte      flags; bit 0: the body is compressed (DEFLATE, RFC 1951)
//	uvarint   number of readings, 1 to maxChunk
//	uvarint   bytes of the body before compression
//	...       body
//	4 bytes   CRC-32C of everything before, little-endian
//
// The body holds five columns one after the other, in the order of the readings. Numbers are varints as in Protocol
// Buffers, signed ones zigzag.
//
//	time       microseconds: the first, then its step, then the changes of the step
//	indicator  pairs of unsigned (index, how many readings in a row)
//	angle      unsigned counts of readings in a row, by turns with a known angle (first) and without, then the known angles
//	           in 1e-4 degree, unwrapped: the first, its step, then the changes of the step
//	divisor    unsigned, at least 1: the greatest common divisor of the steps below
//	reading    nanometres: each indicator's first as it is, then its steps from its own last, divided by the divisor
//
// Steps of steps are small because a hand turns smoothly; the divisor is small work for a display that moves in whole
// micrometres.
const (
	chunkVersion    = 1
	chunkCompressed = 1 << 0

	maxChunk      = 1 << 16 // readings
	maxReadingLen = 60      // bytes a reading can take at worst: six varints of ten
	maxExtraLen   = 11 * maxColumns
	maxIndicators = 1 << 10

	microsPerSecond = 1e6
	stepsPerDegree  = 1e4

	maxMicros = int64(1e15) // 31 years: a double still tells microseconds apart
	maxSteps  = int64(1e13) // 2.7 million turns: radians in a double still tell 1e-4 degree apart
	maxNano   = int64(units.MaxLength)
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// columns are readings in the whole numbers that are stored.
type columns struct {
	micros, steps, nano []int64
	tagged              []bool // whether the angle is known; steps is 0 where it is not
	indicator           []int
	extra               []extraColumn // none in a sweep
}

// quantise turns readings into whole numbers, and refuses what could not be read back.
func quantise(pts []sweep.Point) (columns, error) {
	n := len(pts)
	c := columns{micros: make([]int64, n), steps: make([]int64, n), nano: make([]int64, n), tagged: make([]bool, n),
		indicator: make([]int, n)}
	for i, p := range pts {
		us, ok := whole(p.T*microsPerSecond, maxMicros)
		if !ok {
			return c, fmt.Errorf("reading %d: time %v s is not a time that can be stored", i+1, p.T)
		}
		c.micros[i] = us
		if !math.IsNaN(p.Angle) {
			if c.steps[i], ok = whole(sweep.Degrees(p.Angle)*stepsPerDegree, maxSteps); !ok {
				return c, fmt.Errorf("reading %d: angle %v rad is not an angle that can be stored", i+1, p.Angle)
			}
			c.tagged[i] = true
		}
		length, err := units.FromMM(p.Reading)
		if err != nil {
			return c, fmt.Errorf("reading %d: %w", i+1, err)
		}
		c.nano[i] = int64(length)
		if p.Indicator < 0 || p.Indicator >= maxIndicators {
			return c, fmt.Errorf("reading %d: there is no indicator number %d", i+1, p.Indicator)
		}
		c.indicator[i] = p.Indicator
	}
	return c, nil
}

func whole(x float64, limit int64) (int64, bool) {
	x = math.Round(x) // first: what was decoded at the limit must pass again
	if math.IsNaN(x) || math.Abs(x) > float64(limit) {
		return 0, false
	}
	return int64(x), true
}

func (c columns) points() []sweep.Point {
	pts := make([]sweep.Point, len(c.micros))
	for i := range pts {
		angle := math.NaN()
		if c.tagged[i] {
			angle = sweep.Radians(float64(c.steps[i]) / stepsPerDegree)
		}
		pts[i] = sweep.Point{T: float64(c.micros[i]) / microsPerSecond, Angle: angle,
			Reading: units.Length(c.nano[i]).MM(), Indicator: c.indicator[i]}
	}
	return pts
}

// encodeSamples packs 1 to maxChunk readings. It is exact to 1 µs, 1e-4 degree and 1 nm, and in further columns to 1e-6
// of their unit.
func encodeSamples(s Samples) ([]byte, error) {
	n := len(s.Points)
	if n == 0 || n > maxChunk {
		return nil, fmt.Errorf("%d readings in one chunk, want 1 to %d", n, maxChunk)
	}
	c, err := s.quantise()
	if err != nil {
		return nil, err
	}
	body := c.appendBody(make([]byte, 0, 8*n))
	version := byte(chunkVersion)
	if len(c.extra) > 0 {
		version = chunkVersionExtra
		body = c.appendExtra(body)
	}
	out := append(make([]byte, 0, len(body)+24), version, 0)
	out = binary.AppendUvarint(out, uint64(n))
	out = binary.AppendUvarint(out, uint64(len(body)))
	if packed := deflate(body); len(packed) < len(body) {
		out[1] |= chunkCompressed
		body = packed
	}
	out = append(out, body...)
	return binary.LittleEndian.AppendUint32(out, crc32.Checksum(out, castagnoli)), nil
}

func (c columns) appendBody(b []byte) []byte {
	n := len(c.micros)
	b = appendSmooth(b, c.micros, nil)

	for i := 0; i < n; {
		end := i + 1
		for end < n && c.indicator[end] == c.indicator[i] {
			end++
		}
		b = binary.AppendUvarint(binary.AppendUvarint(b, uint64(c.indicator[i])), uint64(end-i))
		i = end
	}

	b = appendTurns(b, c.tagged)
	b = appendSmooth(b, c.steps, c.tagged)

	var divisor int64
	last := map[int]int64{}
	for i, z := range c.nano {
		if prev, seen := last[c.indicator[i]]; seen {
			divisor = gcd(divisor, z-prev)
		}
		last[c.indicator[i]] = z
	}
	divisor = max(divisor, 1)
	b = binary.AppendUvarint(b, uint64(divisor))
	clear(last)
	for i, z := range c.nano {
		step := z
		if prev, seen := last[c.indicator[i]]; seen {
			step = (z - prev) / divisor
		}
		last[c.indicator[i]] = z
		b = binary.AppendVarint(b, step)
	}
	return b
}

// appendSmooth writes a column that moves steadily: first value, first step, then changes of the step. Where keep is
// given, only what it marks is written.
func appendSmooth(b []byte, column []int64, keep []bool) []byte {
	var last, step int64
	count := 0
	for i, v := range column {
		if keep != nil && !keep[i] {
			continue
		}
		next := v - last
		b = binary.AppendVarint(b, next-step)
		if count > 0 {
			step = next // the first value is a place, not a step
		}
		last = v
		count++
	}
	return b
}

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return max(a, -a)
}
