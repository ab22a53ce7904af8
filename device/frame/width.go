package frame

// widths notices a number of another width in a stream whose numbers all have one. A line that lost a character or
// doubled one is still a number, and a wrong one: nothing but its width shows it.
//
// A stream that goes on at another width, as when a reading passes 10, is taken again from its third line there, and
// must then show a width of its own again. Lines further apart than slowLines are not judged: somebody presses a button
// for each.
type widths struct {
	width int
	same  int // lines in a row of that width
	odd   int // lines in a row of others
	other int // the last of them
	alike int // lines in a row of that
	last  Stamp
}

// channelWidths keeps the widths of each channel of a port, since two instruments on one line may have two.
type channelWidths struct {
	name string // of the channel that spoke last
	now  *widths
	by   map[string]*widths
}

// fits reports whether a number of n characters is to be believed.
func (c *channelWidths) fits(n int, channel string, at Stamp) bool {
	if c.now == nil || channel != c.name {
		if c.by == nil || len(c.by) >= maxNames { // noise makes names too, see names
			c.by = map[string]*widths{}
		}
		w, known := c.by[channel]
		if !known {
			w = &widths{}
			c.by[channel] = w
		}
		c.name, c.now = channel, w
	}
	return c.now.fits(n, at)
}

// widthOfText returns how many characters of a line count, without the channel's name. A sign does not, since many
// instruments write only the minus.
func widthOfText(line []byte, channel string) int {
	n := len(line) - len(channel)
	for _, c := range line {
		if sign(c) {
			n--
		}
	}
	return n
}

const (
	widthSure    = 32 // lines of one width in a row from which the width counts as constant
	widthSettled = 3  // lines of another width in a row that the stream has gone over to
	widthLost    = 6  // lines in a row of any other width: the stream has none
	slowLines    = Stamp(1e9)
)

// fits reports whether a number of n characters is to be believed.
func (w *widths) fits(n int, at Stamp) bool {
	slow := at-w.last > slowLines
	w.last = at
	switch {
	case slow || w.same < widthSure:
		if n != w.width {
			w.width, w.same = n, 0
		}
		w.same, w.odd = w.same+1, 0
		if slow {
			w.same = 1
		}
		return true
	case n == w.width:
		w.odd = 0
		return true
	}
	if w.odd == 0 || n != w.other {
		w.other, w.alike = n, 0
	}
	w.odd, w.alike = w.odd+1, w.alike+1
	if w.alike < widthSettled && w.odd < widthLost {
		return false
	}
	w.width, w.same, w.odd = n, 1, 0
	return true
}
