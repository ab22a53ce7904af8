package store

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"io"
	"sync"

	"tramd/sweep"
)

// decodeChunk unpacks what encodeSamples packed. Whatever it is given, it neither panics nor takes more memory than the
// largest chunk needs.
func decodeChunk(data []byte) ([]sweep.Point, error) {
	c, err := decodeColumns(data)
	if err != nil {
		return nil, fmt.Errorf("%w chunk: %w", ErrDamaged, err)
	}
	return c.points(), nil
}

// decodeSamples is decodeChunk with all columns.
func decodeSamples(data []byte) (Samples, error) {
	c, err := decodeColumns(data)
	if err != nil {
		return Samples{}, fmt.Errorf("%w chunk: %w", ErrDamaged, err)
	}
	return c.samples(), nil
}

// chunkSound reports whether a chunk is as it was written, without unpacking it.
func chunkSound(data []byte) bool {
	end := len(data) - 4
	return end > 2 && crc32.Checksum(data[:end], castagnoli) == binary.LittleEndian.Uint32(data[end:])
}

func decodeColumns(data []byte) (columns, error) {
	const sum = 4
	if len(data) < 2+sum {
		return columns{}, fmt.Errorf("%d bytes is too short", len(data))
	}
	version := data[0]
	if version != chunkVersion && version != chunkVersionExtra {
		return columns{}, fmt.Errorf("layout %d, this version knows %d and %d", version, chunkVersion,
			chunkVersionExtra)
	}
	if data[1]&^chunkCompressed != 0 {
		return columns{}, fmt.Errorf("unknown flags %#x", data[1])
	}
	end := len(data) - sum
	if got, want := crc32.Checksum(data[:end], castagnoli), binary.LittleEndian.Uint32(data[end:]); got != want {
		return columns{}, fmt.Errorf("checksum is %08x, want %08x", got, want)
	}
	head := cursor{b: data[2:end]}
	n, size := head.unsigned(), head.unsigned()
	// A reading takes a byte of time and one of reading at the least, so a short body cannot claim many.
	if head.bad || n == 0 || n > maxChunk || size < 2*n || size > (maxReadingLen+maxExtraLen)*maxChunk {
		return columns{}, fmt.Errorf("claims %d readings in %d bytes", n, size)
	}
	body := head.b
	if data[1]&chunkCompressed != 0 {
		var err error
		if body, err = inflate(body, int(size)); err != nil {
			return columns{}, err
		}
	}
	if uint64(len(body)) != size {
		return columns{}, fmt.Errorf("body has %d bytes, want %d", len(body), size)
	}
	cur := cursor{b: body}
	c := cur.columns(int(n))
	if version == chunkVersionExtra {
		c.extra = cur.extra(int(n))
	}
	if cur.bad || len(cur.b) != 0 {
		return columns{}, fmt.Errorf("body does not hold %d readings", n)
	}
	return c, nil
}

// cursor reads varints; after the first that is cut short or out of range it is bad and gives zeros.
type cursor struct {
	b   []byte
	bad bool
}

func (c *cursor) unsigned() uint64 {
	v, n := binary.Uvarint(c.b)
	return take(c, v, n)
}

func (c *cursor) signed() int64 {
	v, n := binary.Varint(c.b)
	return take(c, v, n)
}

func take[T int64 | uint64](c *cursor, v T, n int) T {
	if c.bad || n <= 0 {
		c.bad = true
		return 0
	}
	c.b = c.b[n:]
	return v
}

// within keeps damaged numbers from growing until they overflow.
func (c *cursor) within(v, limit int64) int64 {
	if v < -limit || v > limit {
		c.bad = true
		return 0
	}
	return v
}

func (c *cursor) columns(n int) columns {
	out := columns{indicator: make([]int, n), nano: make([]int64, n)}
	out.micros = c.smooth(n, maxMicros, nil)
	for i := 0; i < n && !c.bad; {
		index := c.unsigned()
		end := c.runEnd(i, n, 1)
		if index >= maxIndicators {
			c.bad = true
		}
		for ; i < end; i++ {
			out.indicator[i] = int(index)
		}
	}
	out.tagged = c.turns(n)
	out.steps = c.smooth(n, maxSteps, out.tagged)

	divisor := c.unsigned()
	if divisor == 0 || divisor > uint64(2*maxNano) {
		c.bad = true
	}
	last := map[int]int64{}
	for i := 0; i < n && !c.bad; i++ {
		z := c.within(c.signed(), 2*maxNano)
		if prev, seen := last[out.indicator[i]]; seen {
			if z != 0 && divisor > uint64(2*maxNano/max(z, -z)) {
				c.bad = true
				break
			}
			z = prev + z*int64(divisor)
		}
		z = c.within(z, maxNano)
		last[out.indicator[i]] = z
		out.nano[i] = z
	}
	return out
}

// runEnd reads how many readings in a row share something, starting with reading i.
func (c *cursor) runEnd(i, n, least int) int {
	length := c.unsigned()
	if length < uint64(least) || length > uint64(n-i) {
		c.bad = true
		return i
	}
	return i + int(length)
}

func (c *cursor) smooth(n int, limit int64, keep []bool) []int64 {
	out := make([]int64, n)
	var last, step int64
	count := 0
	for i := 0; i < n && !c.bad; i++ {
		if keep != nil && !keep[i] {
			continue
		}
		next := step + c.within(c.signed(), 4*limit)
		v := c.within(last+next, limit)
		if count > 0 {
			step = next
		}
		last = v
		out[i] = v
		count++
	}
	return out
}

// deflater packs by Huffman codes alone: the deltas hold no repeats worth searching for (within 2 % of the full search
// on hand-turned sweeps, see BenchmarkBytesPerReading). It is half a megabyte, so there is one, and it is kept.
var deflater struct {
	sync.Mutex
	w *flate.Writer
}

func deflate(body []byte) []byte {
	deflater.Lock()
	defer deflater.Unlock()
	if deflater.w == nil {
		w, err := flate.NewWriter(nil, flate.HuffmanOnly)
		if err != nil {
			panic(err) // only for a level that does not exist
		}
		deflater.w = w
	}
	var out bytes.Buffer
	out.Grow(len(body))
	deflater.w.Reset(&out)
	_, _ = deflater.w.Write(body) // a buffer takes everything
	_ = deflater.w.Close()
	return out.Bytes()
}

// inflate returns at most one byte more than size, enough to tell that there was too much.
func inflate(packed []byte, size int) ([]byte, error) {
	r := flate.NewReader(bytes.NewReader(packed))
	defer r.Close()
	body, err := io.ReadAll(io.LimitReader(r, int64(size)+1))
	if err != nil {
		return nil, fmt.Errorf("compressed body: %w", err)
	}
	return body, nil
}
