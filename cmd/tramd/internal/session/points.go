package session

import (
	"slices"

	"tramd/sweep"
)

// pointChunk is how many points lie together: little to make again while a port waits, and few in the longest run.
const pointChunk = 4096

// points are the readings of a sweep in the order in which they came. They are only ever appended, and never moved: a
// list that is copied as it grows makes a reading late by the time the copy of a million takes.
type points struct {
	chunks [][]sweep.Point // all full but the last
	n      int
}

func (l *points) add(p sweep.Point) {
	last := len(l.chunks) - 1
	if l.n%pointChunk == 0 {
		l.chunks = append(l.chunks, make([]sweep.Point, 0, pointChunk))
		last++
	}
	l.chunks[last] = append(l.chunks[last], p)
	l.n++
}

// since returns the points from number i on, in as many pieces as they lie in. The pieces stay valid and unchanged.
func (l *points) since(i int) [][]sweep.Point {
	if i >= l.n {
		return nil
	}
	var out [][]sweep.Point
	skip := i % pointChunk
	for _, c := range l.chunks[i/pointChunk:] {
		out = append(out, c[skip:len(c):len(c)])
		skip = 0
	}
	return out
}

// join appends pieces to dst.
func join(dst []sweep.Point, pieces [][]sweep.Point) []sweep.Point {
	n := len(dst)
	for _, c := range pieces {
		n += len(c)
	}
	dst = slices.Grow(dst, n-len(dst))
	for _, c := range pieces {
		dst = append(dst, c...)
	}
	return dst
}
