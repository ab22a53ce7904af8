package frame

// maxLine caps a line, its end not counted. A wrong baud rate may never send a line end; memory must not grow with it.
const maxLine = 256

// Framer cuts a stream of bytes into frames. It belongs to one goroutine.
//
// A new framer takes the next byte for the start of a frame. After Reset it drops everything up to the next line end
// first. How the stream is cut into Feeds makes no difference to values, channels or faults.
type Framer interface {
	// Feed decodes p, appends what it found to dst with the stamp at, and keeps an unfinished frame for later. It keeps
	// no reference to p.
	Feed(dst []Sample, p []byte, at Stamp) []Sample
	Reset()
	Begin() // the next byte begins a frame
	Faults() map[string]uint64
	FaultTotal() uint64 // the sum of Faults, cheaply
}

// lines cuts a stream at its line ends and hands each line that is not blank to parse.
type lines struct {
	faultCount
	parse func(line []byte) (Sample, fault)
	ends  *[256]bool                            // the bytes that end a line
	raw   bool                                  // parse wants the blanks around a line too
	width func(line []byte, channel string) int // of its number, in characters; nil: the width says nothing
	wide  channelWidths
	skip  bool // drop up to the next line end
	n     int  // bytes of an unfinished line in buf
	buf   [maxLine]byte
}

// lineEnds are CR and LF.
var lineEnds = [256]bool{'\r': true, '\n': true}

// Feed implements Framer.
func (l *lines) Feed(dst []Sample, p []byte, at Stamp) []Sample {
	for len(p) > 0 {
		end := 0
		for end < len(p) && !l.ends[p[end]] {
			end++
		}
		if end == len(p) {
			l.hold(p)
			break
		}
		line := p[:end]
		p = p[end+1:]
		if l.skip {
			l.skip = false
			continue
		}
		if l.n+len(line) > maxLine {
			l.add(faultTooLong)
			l.n = 0
			continue
		}
		if l.n > 0 {
			l.n += copy(l.buf[l.n:], line)
			line = l.buf[:l.n]
			l.n = 0
		}
		text := trim(line)
		if len(text) == 0 {
			continue
		}
		if l.raw {
			text = line
		}
		s, f := l.parse(text)
		if f != noFault {
			l.add(f)
			continue
		}
		if l.width != nil && !l.wide.fits(l.width(text, s.Channel), s.Channel, at) {
			l.add(faultWidth)
			continue
		}
		s.At = at
		dst = append(dst, s)
	}
	return dst
}

// hold keeps the start of a line whose end has not come yet.
func (l *lines) hold(p []byte) {
	switch {
	case l.skip:
	case l.n+len(p) > maxLine:
		l.add(faultTooLong)
		l.skip, l.n = true, 0
	default:
		l.n += copy(l.buf[l.n:], p)
	}
}

// Reset implements Framer: the stream was joined in an unknown place.
func (l *lines) Reset() { l.skip, l.n = true, 0 }

func (l *lines) Begin() { l.skip, l.n = false, 0 }

func blank(c byte) bool { return c == ' ' || c == '\t' }

func trim(b []byte) []byte {
	for len(b) > 0 && blank(b[0]) {
		b = b[1:]
	}
	for len(b) > 0 && blank(b[len(b)-1]) {
		b = b[:len(b)-1]
	}
	return b
}
