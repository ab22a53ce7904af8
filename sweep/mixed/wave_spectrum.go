package mixed

import "math"

// The spectrum at times that need not be even (Lomb 1976), without his correction of phase: where it matters, the
// wave's own columns judge.

const (
	waveCycles   = 2.0  // a wave that the sweep saw less often looks like any slow noise
	waveStands   = 12.0 // power over the median of the neighbourhood from which a closer look is taken
	waveOversamp = 4    // frequencies tried for each that the sweep can tell apart
)

// scan is along what waves are looked for: where each block lies, and the frequencies looked at.
type scan struct {
	at    []float64
	step  float64
	from  int // first frequency, in steps
	count int
	table bool // in turns, not in seconds
}

// inTime looks for waves in time.
func (f *fitting) inTime() scan {
	t0, half := timeSpan(f.bs)
	s := scan{at: make([]float64, len(f.bs)), step: 1 / (2 * half * waveOversamp), from: int(waveCycles * waveOversamp)}
	for i := range f.bs {
		s.at[i] = f.bs[i].t - t0
	}
	s.count = min(int(f.finest(s.at)/s.step), waveOversamp*wantBlocks) - s.from
	return s
}

// roundTable looks for waves of the table finer than the form.
func (f *fitting) roundTable() scan {
	s := scan{at: make([]float64, len(f.bs)), step: 1, from: formOrders + 1, table: true}
	for i := range f.bs {
		s.at[i] = f.bs[i].th / (2 * math.Pi)
	}
	s.count = int(math.Min(f.finest(s.at), wantBlocks)) - s.from
	return s
}

// finest is the highest frequency that the blocks can show, 0 where they show none.
func (f *fitting) finest(at []float64) float64 {
	var gaps []float64
	for i := 1; i < len(f.bs); i++ {
		if d := math.Abs(at[i] - at[i-1]); f.bs[i].track == f.bs[i-1].track && d > 0 {
			gaps = append(gaps, d)
		}
	}
	if len(gaps) == 0 {
		return 0
	}
	return 0.5 / median(gaps)
}

// power is the power of a wave of the given frequency in r, added over the tracks, and its amplitude.
func (f *fitting) power(r []float64, scan scan, frequency float64) (power, size float64) {
	var c, s float64
	n := 0.0
	flush := func() {
		if n > 0 {
			power += (c*c + s*s) / n
			size = math.Max(size, 2*math.Hypot(c, s)/n)
		}
		c, s, n = 0, 0, 0
	}
	for i := range f.bs {
		b := &f.bs[i]
		if i > 0 && f.bs[i-1].track != b.track {
			flush()
		}
		sin, cos := math.Sincos(2 * math.Pi * frequency * scan.at[i])
		c, s, n = c+r[i]*cos, s+r[i]*sin, n+1
	}
	flush()
	return power, size
}

// standsOut returns the wave whose power stands out most from those of its neighbourhood.
func (f *fitting) standsOut(r []float64, scan scan) (part, bool) {
	step, from, count := scan.step, scan.from, scan.count
	near := 10 * waveOversamp // neighbours to each side
	if scan.table {
		near = 10
	}
	if count < near {
		return part{}, false
	}
	// Each block turns its own pointer from frequency to frequency.
	n := len(f.bs)
	cos, sin, dc, ds := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range f.bs {
		x := 2 * math.Pi * scan.at[i]
		s, c := math.Sincos(x * step * float64(from))
		cos[i], sin[i] = c*r[i], s*r[i]
		ds[i], dc[i] = math.Sincos(x * step)
	}
	ends := make([]int, n) // by the first block of a track: the block after its last
	for first, i := 0, 1; i <= n; i++ {
		if i == n || f.bs[i].track != f.bs[first].track {
			ends[first], first = i, i
		}
	}
	power := make([]float64, count)
	for k := range power {
		for first := 0; first < n; first = ends[first] {
			var c, s float64
			for i := first; i < ends[first]; i++ {
				x, y := cos[i], sin[i]
				c, s = c+x, s+y
				cos[i], sin[i] = x*dc[i]-y*ds[i], y*dc[i]+x*ds[i]
			}
			power[k] += (c*c + s*s) / float64(ends[first]-first)
		}
	}
	at, most := -1, waveStands
	buf := make([]float64, 0, 2*near+1)
	for k := 1; k < count-1; k++ {
		if power[k] < power[k-1] || power[k] < power[k+1] {
			continue
		}
		lo := min(max(0, k-near), max(0, count-2*near))
		buf = append(buf[:0], power[lo:min(count, lo+2*near)]...)
		if x := power[k]; x > most*median(buf) && (scan.table || !f.turnsWith(step*float64(from+k))) {
			at, most = k, x/median(buf)
		}
	}
	if at < 0 {
		return part{}, false
	}
	if scan.table {
		_, size := f.power(r, scan, float64(from+at))
		return part{kind: waveOfTable, order: from + at, sizeMM: size}, true
	}
	hertz := step * float64(from+at)
	for h := step / 2; h > step/20; h /= 3 { // the top of a parabola through three
		a, _ := f.power(r, scan, hertz-h)
		b, _ := f.power(r, scan, hertz)
		c, _ := f.power(r, scan, hertz+h)
		if bend := a - 2*b + c; bend < 0 {
			hertz += math.Max(-h, math.Min(h, h*(a-c)/(2*bend)))
		}
	}
	_, size := f.power(r, scan, hertz)
	return part{kind: waveInTime, hertz: hertz, sizeMM: size}, true
}
