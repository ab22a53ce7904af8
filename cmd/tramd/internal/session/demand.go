package session

import (
	"context"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep"
)

// demandWait is how long a person is kept waiting for instruments that are asked on their word. The device says what is
// wrong with one that does not answer.
const demandWait = 3 * time.Second

// demand asks the instruments that send only on a person's word. It reports whether there are any; the station is then
// taken when the last of them has answered. What was read before does not count: the arm may have moved since.
func (a *atStations) demand(s *Session, j *job) bool {
	wants := map[int]bool{}
	for i, r := range s.o.Indicators {
		if at, ours := j.slot(i); ours && r.Device >= 0 && s.o.Ports[r.Device].Ask != nil {
			wants[at] = true
		}
	}
	if len(wants) == 0 {
		return false
	}
	a.wants = wants
	a.Arrive()
	for _, p := range s.o.Ports {
		if p.Ask != nil {
			p.Ask()
		}
	}
	return true
}

// answered takes a reading while some are asked for, and the station once all are there.
func (a *atStations) answered(s *Session, j *job, t, mm float64, indicator int) {
	var r sweep.StationReading
	var ok bool
	if a.wants[indicator] {
		delete(a.wants, indicator)
		r, ok = a.Put(t, mm, indicator)
	} else {
		r, ok = a.AddReading(t, mm, indicator)
	}
	if !ok && len(a.wants) == 0 {
		r, ok = a.TakeNow()
	}
	if ok {
		a.wants = nil
		a.took(s, j, r)
	}
}

// awaitAnswers waits for the instruments that demand asked.
func (s *Session) awaitAnswers(ctx context.Context, run int64) error {
	for end := time.Now().Add(demandWait); ; time.Sleep(5 * time.Millisecond) {
		waiting, late := false, time.Now().After(end)
		err := s.ask(ctx, func() {
			if s.job == nil || s.job.run != run {
				return
			}
			if a := s.job.stations(); a != nil && a.wants != nil {
				waiting = true
				if late {
					a.wants = nil // an answer after this takes nothing
				}
			}
		})
		switch {
		case err != nil:
			return err
		case !waiting:
			return nil
		case late:
			return api.Conflict.Errorf(
				"the indicator was asked and has not answered; see its port, then take the station again")
		}
	}
}
