package sweep

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"runtime"
	"slices"
	"sync"
)

// Files are parsed in blocks of whole lines, a few at a time on goroutines of their own, while the caller reads the
// next block and uses the points of the one before, in the order of the file. The reader is never touched by anybody
// else.
const (
	blockBytes = 2 * maxLine
	inHand     = 4 // blocks between reader and user at most
	minRow     = 6 // bytes of the shortest row
)

// csvBlock is a run of whole lines on its way through a parser.
type csvBlock struct {
	buf   []byte
	data  []byte // what of buf is to be parsed
	first int    // the number of its first line
	known int    // how many indicators had been named when it was handed out
	done  chan struct{}

	parser csvParser
	pts    []Point
	err    error // what is wrong with the line after the last point
}

func (b *csvBlock) parse() {
	b.pts, b.err = b.parser.lines(b.pts, b.data)
	b.done <- struct{}{}
}

// lineOf is the line of the file that point i came from: worked out only where something is wrong with it.
func (b *csvBlock) lineOf(i int) int {
	rest, line := b.data, b.first
	for {
		text, after, more := bytes.Cut(rest, []byte{'\n'})
		if !skipped(trimLine(text)) {
			i--
		}
		if i < 0 || !more {
			return line
		}
		rest = after
		line++
	}
}

// csvReader is one file being read.
type csvReader struct {
	r     io.Reader
	fn    func(Point) error
	info  CSVInfo
	head  csvParser // before the blocks: it takes the header, and knows the lines and names so far
	jobs  chan *csvBlock
	queue []*csvBlock // in the order of the file
	spare []*csvBlock

	perRow float64 // bytes, in the block in use
}

func newCSVReader(r io.Reader, names []string, fn func(Point) error) *csvReader {
	return &csvReader{r: r, fn: fn, head: csvParser{fixed: len(names) > 0, names: slices.Clone(names)}}
}

func (c *csvReader) read() error {
	c.jobs = make(chan *csvBlock, inHand)
	var workers sync.WaitGroup
	defer workers.Wait()
	defer close(c.jobs)
	for range min(runtime.GOMAXPROCS(0), inHand) {
		workers.Go(func() {
			for b := range c.jobs {
				b.parse()
			}
		})
	}

	var rest []byte // the start of a line whose end was not in the block before
	for {
		b := c.block()
		n, readErr := fill(c.r, b.buf[copy(b.buf, rest):])
		all := b.buf[:len(rest)+n]
		whole := bytes.LastIndexByte(all, '\n') + 1
		rest = all[whole:]
		if readErr == io.EOF || len(rest) > maxLine { // the parser says so of a line that is too long
			whole, rest = len(all), nil
		}
		if err := c.take(b, all[:whole]); err != nil {
			return err
		}
		if readErr == nil {
			continue
		}
		for len(c.queue) > 0 {
			if err := c.use(); err != nil {
				return err
			}
		}
		switch {
		case readErr != io.EOF:
			return fmt.Errorf("after line %d: %w", c.head.line, readErr)
		case c.head.columns == 0:
			return fmt.Errorf("line 1: the file is empty: begin it with the header %s", CSVHeader)
		}
		return nil
	}
}

// fill reads until buf is full. A reader's own io.ErrUnexpectedEOF must stay an error, so io.ReadFull will not do.
func fill(r io.Reader, buf []byte) (n int, err error) {
	for n < len(buf) && err == nil {
		var m int
		m, err = r.Read(buf[n:])
		n += m
	}
	if errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		err = io.EOF
	}
	return n, err
}

// block returns a block to read into, once there are not too many in hand.
func (c *csvReader) block() *csvBlock {
	if n := len(c.spare); n > 0 {
		b := c.spare[n-1]
		c.spare = c.spare[:n-1]
		return b
	}
	return &csvBlock{buf: make([]byte, blockBytes), done: make(chan struct{}, 1)}
}

// take hands a block to the parsers, and uses the oldest when enough are in hand. The header is taken out first.
func (c *csvReader) take(b *csvBlock, data []byte) error {
	for c.head.columns == 0 && len(data) > 0 {
		line, after, _ := bytes.Cut(data, []byte{'\n'})
		if err := c.head.header(line); err != nil {
			return err
		}
		data = after
	}
	b.data, b.first, b.known = data, c.head.line+1, len(c.head.names)
	b.parser = c.head
	b.parser.names = slices.Clone(c.head.names)
	lines := bytes.Count(data, []byte{'\n'})
	if n := len(data); n > 0 && data[n-1] != '\n' {
		lines++
	}
	c.head.line += lines
	b.pts = slices.Grow(b.pts[:0], min(lines, len(data)/minRow+1))
	c.queue = append(c.queue, b)
	c.jobs <- b
	if len(c.queue) < inHand {
		return nil
	}
	return c.use()
}

// use waits for the oldest block and hands its points on.
func (c *csvReader) use() error {
	b := c.queue[0]
	c.queue = c.queue[1:]
	<-b.done
	c.perRow = float64(len(b.data)) / float64(max(1, len(b.pts)))
	for i, p := range b.pts {
		if c.head.columns > 3 && p.Indicator >= b.known {
			// first named in this block, or in one that was parsed beside it
			k, ok := c.named(b.parser.names[p.Indicator])
			if !ok {
				c.head.line = b.lineOf(i)
				return c.head.tooManyNames([]byte(b.parser.names[p.Indicator]))
			}
			p.Indicator = k
		}
		c.info.Rows++
		if math.IsNaN(p.Angle) {
			c.info.Unknown++
		}
		if err := c.fn(p); err != nil {
			return fmt.Errorf("line %d: %w", b.lineOf(i), err)
		}
	}
	c.spare = append(c.spare, b)
	return b.err
}

// named returns the number of an indicator in the order in which the file names them.
func (c *csvReader) named(name string) (int, bool) {
	if k := slices.Index(c.head.names, name); k >= 0 {
		return k, true
	}
	if len(c.head.names) >= maxIndicators {
		return 0, false
	}
	c.head.names = append(c.head.names, name)
	return len(c.head.names) - 1, true
}

// rows guesses from the size of a file how many rows it holds, once the first of them is known.
func (c *csvReader) rows(size int64) int {
	const most = 4 << 20 // a guess must not ask for memory without end
	return int(min(1.02*float64(size)/c.perRow+64, most))
}
