package store

import (
	"encoding/binary"
	"slices"
)

// A chunk of layout 2 is one of layout 1 whose body goes on with more columns (see Column):
//
//	uvarint   how many columns, at most maxColumns; then for each
//	uvarint   bytes of its name, and the name
//	byte      0: numbers, 1: words
//	numbers   unsigned counts of readings in a row, by turns known (first) and not; then the known ones in 1e-6 of the unit:
//	          the first, its step, then the changes of the step
//	words     uvarint how many different ones, each as its length and its bytes; then pairs of unsigned (which, how many
//	          readings in a row)
const chunkVersionExtra = 2

const (
	extraNumbers = 0
	extraWords   = 1
)

// extraColumn is a column in the whole numbers that are stored, or in words.
type extraColumn struct {
	name  string
	micro []int64
	known []bool
	words []string
}

func (c columns) appendExtra(b []byte) []byte {
	b = binary.AppendUvarint(b, uint64(len(c.extra)))
	for _, x := range c.extra {
		b = appendText(b, x.name)
		if x.words == nil {
			b = append(b, extraNumbers)
			b = appendTurns(b, x.known)
			b = appendSmooth(b, x.micro, x.known)
			continue
		}
		b = append(b, extraWords)
		var different []string
		for _, w := range x.words {
			if !slices.Contains(different, w) {
				different = append(different, w)
			}
		}
		b = binary.AppendUvarint(b, uint64(len(different)))
		for _, w := range different {
			b = appendText(b, w)
		}
		for i := 0; i < len(x.words); {
			end := i + 1
			for end < len(x.words) && x.words[end] == x.words[i] {
				end++
			}
			b = binary.AppendUvarint(b, uint64(slices.Index(different, x.words[i])))
			b = binary.AppendUvarint(b, uint64(end-i))
			i = end
		}
	}
	return b
}

func appendText(b []byte, text string) []byte {
	return append(binary.AppendUvarint(b, uint64(len(text))), text...)
}

// appendTurns writes counts of readings in a row, by turns with something (first) and without.
func appendTurns(b []byte, has []bool) []byte {
	for i, with := 0, true; i < len(has); with = !with {
		end := i
		for end < len(has) && has[end] == with {
			end++
		}
		b = binary.AppendUvarint(b, uint64(end-i))
		i = end
	}
	return b
}

// turns reads what appendTurns wrote.
func (c *cursor) turns(n int) []bool {
	out := make([]bool, n)
	for i, with, least := 0, true, 0; i < n && !c.bad; with, least = !with, 1 {
		for end := c.runEnd(i, n, least); i < end; i++ { // only the first stretch may be empty
			out[i] = with
		}
	}
	return out
}

func (c *cursor) text(longest int) string {
	n := c.unsigned()
	if n > uint64(longest) || n > uint64(len(c.b)) {
		c.bad = true
		return ""
	}
	text := string(c.b[:n])
	c.b = c.b[n:]
	return text
}

func (c *cursor) extra(n int) []extraColumn {
	count := c.unsigned()
	if count > maxColumns {
		c.bad = true
	}
	var out []extraColumn
	for range count {
		if c.bad {
			break
		}
		x := extraColumn{name: c.text(maxWord)}
		switch kind := c.unsigned(); kind {
		case extraNumbers:
			x.known = c.turns(n)
			x.micro = c.smooth(n, maxMicro, x.known)
		case extraWords:
			x.words = c.words(n)
		default:
			c.bad = true
		}
		out = append(out, x)
	}
	return out
}

func (c *cursor) words(n int) []string {
	count := c.unsigned()
	if count > maxWords {
		c.bad = true
		return nil
	}
	var different []string
	for range count {
		different = append(different, c.text(maxWord))
	}
	out := make([]string, n)
	for i := 0; i < n && !c.bad; {
		which := c.unsigned()
		end := c.runEnd(i, n, 1)
		if which >= uint64(len(different)) {
			c.bad = true
			break
		}
		for ; i < end; i++ {
			out[i] = different[which]
		}
	}
	return out
}
