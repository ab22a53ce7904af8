package mixed

import "math"

// turnsAlong is the part of a wave's power that lean may hold before the two are too much alike: that of a wave that
// gains or loses somewhat over half a cycle on an even turning.
const turnsAlong = 0.3

// turnsWith tells whether a wave in time goes with the turning for so much of the sweep that the lean could be taken
// for it: then it is not taken out, and what there is of it is left to the slow noise. What lean and its derivative by
// angle show as are waves of one turn, whichever way round; the squares of their coherence with the wave are the part
// that they hold.
func (f *fitting) turnsWith(hertz float64) bool {
	t0, _ := timeSpan(f.bs)
	held := 0.0
	for first := 0; first < len(f.bs); {
		var same, against complex128
		n := 0.0
		for at := first; first < len(f.bs) && f.bs[first].track == f.bs[at].track; first++ {
			b := &f.bs[first]
			ws, wc := math.Sincos(2 * math.Pi * hertz * (b.t - t0))
			ts, tc := math.Sincos(b.th)
			same += complex(wc, ws) * complex(tc, -ts)
			against += complex(wc, ws) * complex(tc, ts)
			n++
		}
		held = math.Max(held, (sq(real(same))+sq(imag(same))+sq(real(against))+sq(imag(against)))/(n*n))
	}
	return held > turnsAlong
}
