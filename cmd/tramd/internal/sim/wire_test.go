package sim

import (
	"bufio"
	"os"
	"regexp"
	"sort"
	"strconv"
	"sync"
	"testing"
	"time"
)

// wire reads one port with a parser of the test's own and keeps what came, and when.
type wire struct {
	mu    sync.Mutex
	at    []float64 // seconds since the test began to listen
	value []float64 // mm, or counts
	bad   int
	ended chan struct{}
	file  *os.File
}

var (
	readingLine = regexp.MustCompile(`^  ([+-]\d+\.\d+) mm\r\n$`)
	countLine   = regexp.MustCompile(`^([+-]\d+)\r\n$`)
)

func listen(t *testing.T, path string, form *regexp.Regexp, origin time.Time) *wire {
	t.Helper()
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	w := &wire{ended: make(chan struct{}), file: f}
	go func() {
		defer close(w.ended)
		r := bufio.NewReader(f)
		for {
			line, err := r.ReadString('\n')
			at := time.Since(origin).Seconds()
			if err != nil {
				return
			}
			found := form.FindStringSubmatch(line)
			if found == nil {
				w.bad++
				continue
			}
			v, err := strconv.ParseFloat(found[1], 64)
			if err != nil {
				w.bad++
				continue
			}
			w.mu.Lock()
			w.at, w.value = append(w.at, at), append(w.value, v)
			w.mu.Unlock()
		}
	}()
	return w
}

// stop ends the listening; after it the wire's fields may be read.
func (w *wire) stop(t *testing.T) {
	t.Helper()
	if err := w.file.Close(); err != nil {
		t.Error(err)
	}
	<-w.ended
}

// await waits until n values have come, however late they come.
func (w *wire) await(t *testing.T, n int) []float64 {
	t.Helper()
	for range 2000 {
		w.mu.Lock()
		values := w.value
		w.mu.Unlock()
		if len(values) >= n {
			return values
		}
		time.Sleep(5 * time.Millisecond)
	}
	t.Fatalf("fewer than %d values came in 10 s", n)
	return nil
}

// settled gives the mean of the next few values sent after the first sent lines: of an arm at rest.
func (w *wire) settled(t *testing.T, sent uint64) float64 {
	t.Helper()
	const few = 8
	first := int(sent) + 1 // one may have been on its way
	var sum float64
	for _, v := range w.await(t, first+few)[first : first+few] {
		sum += v
	}
	return sum / few
}

// prompt tells whether the i-th value came soon after the one before it: then nobody was kept waiting by other
// programs.
func (w *wire) prompt(i int) bool {
	return i > 0 && i < len(w.at) && w.at[i]-w.at[i-1] < 0.006
}

// degAt interpolates the encoder's angle, where its values came promptly.
func (w *wire) degAt(at float64, countsPerTurn int) (float64, bool) {
	i := sort.SearchFloat64s(w.at, at)
	if !w.prompt(i) {
		return 0, false
	}
	part := (at - w.at[i-1]) / (w.at[i] - w.at[i-1])
	count := w.value[i-1] + part*(w.value[i]-w.value[i-1])
	return count * 360 / float64(countsPerTurn), true
}
