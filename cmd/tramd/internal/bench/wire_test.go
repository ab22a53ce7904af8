package bench

import (
	"bufio"
	"math"
	"os"
	"regexp"
	"sort"
	"strconv"
	"testing"
	"time"
)

// wire reads one port with a parser of the test's own and keeps what came, and when.
type wire struct {
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
			w.at, w.value = append(w.at, at), append(w.value, v)
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

// degAt interpolates the encoder's angle.
func (w *wire) degAt(at float64, countsPerTurn int) (float64, bool) {
	i := sort.SearchFloat64s(w.at, at)
	if i == 0 || i == len(w.at) {
		return 0, false
	}
	part := (at - w.at[i-1]) / (w.at[i] - w.at[i-1])
	count := w.value[i-1] + part*(w.value[i]-w.value[i-1])
	return count * 360 / float64(countsPerTurn), true
}

// firstHarmonic gives the tilt and nod, in mm/m, that readings over whole turns show: the Fourier integral
// 2/(b-a) * integral of z*cos (or sin) over the angle, by trapezes, since the readings are not evenly spaced. Waves of
// the table with two or more in a turn, and the offset, integrate to nothing.
func firstHarmonic(deg, mm []float64, radiusMM float64) Truth {
	var c, s float64
	for i := 1; i < len(deg); i++ {
		a, b := deg[i-1]*math.Pi/180, deg[i]*math.Pi/180
		c += (b - a) * (mm[i-1]*math.Cos(a) + mm[i]*math.Cos(b)) / 2
		s += (b - a) * (mm[i-1]*math.Sin(a) + mm[i]*math.Sin(b)) / 2
	}
	whole := (deg[len(deg)-1] - deg[0]) * math.Pi / 180
	return Truth{TiltMMPerM: 2 * c / whole / radiusMM * 1000, NodMMPerM: 2 * s / whole / radiusMM * 1000}
}
