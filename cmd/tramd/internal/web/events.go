package web

import (
	"net/http"
)

const (
	maxEvents     = 1000
	defaultEvents = 100
)

// answer makes a handler of a function that returns what goes out as JSON, or an error.
func (s *server) answer(f func(r *http.Request) (any, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		v, err := f(r)
		if err != nil {
			s.fail(w, err)
			return
		}
		s.reply(w, http.StatusOK, v)
	}
}

// events lists what happened to the machine, the last first.
func (s *server) events(r *http.Request) (any, error) {
	limit, err := queryInt(r, "limit", 1, maxEvents, defaultEvents)
	if err != nil {
		return nil, err
	}
	if s.Records == nil {
		return nil, noRecords
	}
	return s.Records.Events(r.Context(), int(limit))
}

// undoEvent takes an event back.
func (s *server) undoEvent(r *http.Request) (any, error) {
	id, err := s.recordID(r)
	if err != nil {
		return nil, err
	}
	return map[string]int64{"undone": id}, s.Records.UndoEvent(r.Context(), id)
}
