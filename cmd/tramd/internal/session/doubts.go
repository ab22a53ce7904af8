package session

import (
	"math"

	"tramd/sweep"
)

// slipped takes the news that the encoder had lost counts before its index mark.
func (s *Session) slipped(slip sweep.Slip) {
	d := slip.Doubt()
	s.o.Log.Warn("the encoder lost counts", "degrees", slip.Deg, "seconds", slip.ToS-slip.FromS)
	if j := s.job; j != nil && j.begun && j.phase != Fitting {
		j.doubt(s, d)
	}
}

// doubt keeps with the run that a stretch of its angles is wrong, and takes the stretch out of the live fit.
func (j *job) doubt(s *Session, d sweep.Doubt) {
	j.doubts = append(j.doubts[:len(j.doubts):len(j.doubts)], d) // faces and fits hold the old list
	s.archive.add(writing{run: j.run, doubt: &d})
	live, err := sweep.NewLive(j.setup)
	if err != nil {
		return // it was made once, so it can be made again
	}
	j.doubtful = -j.untagged
	for _, p := range sweep.Believed(join(nil, j.points.since(0)), j.doubts) {
		if math.IsNaN(p.Angle) {
			j.doubtful++
			continue
		}
		live.Add(p)
	}
	j.live, j.published = live, -1
	j.full = nil // it rested on what is now in doubt
}
