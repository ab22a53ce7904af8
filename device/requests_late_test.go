package device

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"sync"
	"testing"
	"time"

	"tramd/device/devicetest"
	"tramd/device/frame"
)

// Two instruments of one line that answer late by up to eight times what they may, or never, and in any order: no
// answer is taken for that of another question. The same as TestNoAnswerIsTakenForThatOfAnotherQuestion, but over a
// real port.
func TestNoAnswerIsTakenForThatOfAnotherQuestionOverAPort(t *testing.T) {
	t.Parallel()
	const answer = 60 * time.Millisecond
	l := devicetest.Open(t)
	rng := rand.New(rand.NewPCG(5, 7))
	go func() {
		buf, n := make([]byte, 256), 0
		for {
			k, err := l.Far().Read(buf)
			if errors.Is(err, os.ErrClosed) {
				return
			}
			if err != nil {
				time.Sleep(time.Millisecond)
				continue
			}
			for range bytes.Count(buf[:k], []byte("\r")) {
				n++
				says := fmt.Appendf(nil, "%d.%03d\r\n", n/1000, n%1000)
				wait := 4 * time.Millisecond
				switch rng.IntN(12) {
				case 0:
					wait = answer + time.Duration(rng.Int64N(int64(7*answer)))
				case 1:
					continue
				}
				time.AfterFunc(wait, func() { _ = l.TryWrite(says) })
			}
		}
	}()
	var mu sync.Mutex
	type question struct {
		n    int64
		whom string
	}
	asked := map[Stamp]question{}
	r := start(t, Spec{Port: l.Path, Tap: func(at Stamp, p []byte, out bool) {
		if out {
			mu.Lock()
			defer mu.Unlock()
			asked[at] = question{int64(len(asked) + 1), map[byte]string{'A': "left", 'B': "right"}[p[0]]}
		}
	}, Asking: Asking{Asks: []frame.Ask{{Request: "A\r", Channel: "left"}, {Request: "B\r", Channel: "right"}},
		Every: 5 * time.Millisecond, Answer: answer}})
	wait(t, "forty readings, and three losses", func() bool {
		st := r.Status()
		return st.Readings >= 40 && st.Faults["no_answer"] >= 3
	})
	r.stop()
	mu.Lock()
	defer mu.Unlock()
	for i, s := range r.all() {
		if q := asked[s.Asked]; q.n == 0 || s.Value != q.n*1000 || s.Channel != q.whom {
			t.Errorf("reading %d of %s answers question %d, and was taken for the answer to %d, which %s was asked", i,
				s.Channel, s.Value/1000, q.n, q.whom)
		}
	}
}
