package session

import (
	"math"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep"
)

// slipped takes the news that the encoder had lost counts before its index mark.
func (s *Session) slipped(slip sweep.Slip) {
	d := slip.Doubt()
	s.o.Log.Warn("the encoder lost counts", "degrees", slip.Deg, "seconds", slip.ToS-slip.FromS)
	if j := s.job; j != nil && j.begun && j.phase != api.PhaseFitting {
		j.doubt(s, d)
	}
}

// doubt keeps with the run that a stretch of its angles is wrong. The running sums and the fit are made again without
// it beside the work: a million readings take longer than a port may wait.
func (j *job) doubt(s *Session, d sweep.Doubt) {
	j.doubts = append(j.doubts[:len(j.doubts):len(j.doubts)], d) // snapshots and fits hold the old list
	s.archive.add(writing{run: j.run, doubt: &d})
	if j.measured != nil {
		return // its angles are no sweep's
	}
	j.doubted = j.shown != nil
	j.doubtGen++
	gen, doubts, setup := j.doubtGen, j.doubts, j.setup
	go func() {
		live, err := sweep.NewLive(setup)
		if err != nil {
			return // it was made once, so it can be made again
		}
		n, unknown := 0, 0
		take := func(pieces [][]sweep.Point) (added int) {
			for _, piece := range pieces {
				for _, p := range sweep.Believed(piece, doubts) {
					if math.IsNaN(p.Angle) {
						unknown++
						continue
					}
					live.Add(p)
				}
				added += len(piece)
			}
			n += added
			return added
		}
		for {
			var pieces [][]sweep.Point
			stale := false
			s.locked(func() {
				pieces, stale = j.points.since(n), gen != j.doubtGen
				if !stale && j.points.n-n <= catchUpAtMax {
					take(pieces)
					j.live, j.doubtful = live, unknown-j.untagged
					pieces = nil
				}
			})
			if stale || pieces == nil {
				return
			}
			take(pieces)
		}
	}()
}
