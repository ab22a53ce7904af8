package session

import (
	"testing"

	"tramd/sweep"
)

func TestPoints(t *testing.T) {
	const n = 3*pointChunk + 5
	var l points
	for i := range n {
		l.add(sweep.Point{T: float64(i)})
	}
	if l.n != n {
		t.Fatalf("%d points, want %d", l.n, n)
	}
	for _, from := range []int{0, 1, pointChunk - 1, pointChunk, 2*pointChunk + 7, n - 1, n, n + 1} {
		pieces := l.since(from)
		for i := range 2 * pointChunk { // what is added later is in no piece, and changes none
			l.add(sweep.Point{T: float64(-i)})
		}
		got := join(nil, pieces)
		l = points{}
		for i := range n {
			l.add(sweep.Point{T: float64(i)})
		}
		if want := max(0, n-from); len(got) != want {
			t.Fatalf("%d points from number %d on, want %d", len(got), from, want)
		}
		for i, p := range got {
			if p.T != float64(from+i) {
				t.Fatalf("from number %d on: point %d is number %v", from, i, p.T)
			}
		}
	}
	half := join(nil, l.since(pointChunk)[:1])
	whole := join(join(nil, [][]sweep.Point{l.chunks[0]}), [][]sweep.Point{half, l.chunks[2]})
	for i, p := range whole {
		if p.T != float64(i) {
			t.Fatalf("joined: point %d is number %v", i, p.T)
		}
	}
}
