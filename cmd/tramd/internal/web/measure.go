package web

import (
	"net/http"

	"tramd/cmd/tramd/internal/api"
)

// startMeasurement begins a traverse, a bar or a travel: {"kind":"traverse","name":"left
// rail","purpose":"check","typed":false}.
func (s *server) startMeasurement(w http.ResponseWriter, r *http.Request) {
	in := struct {
		api.Wanted
		temperature
	}{Wanted: api.Wanted{Purpose: "check"}}
	err := decode(r, &in)
	if err == nil {
		in.Kind, err = words("kind", in.Kind, 1, 40)
	}
	if err == nil {
		in.Purpose, err = words("purpose", in.Purpose, 1, 40)
	}
	if err == nil {
		in.Name, err = words("name", in.Name, 0, 200)
	}
	if err == nil && s.Measure == nil {
		err = noSweeps
	}
	if err == nil {
		err = s.noteTemperature(in.temperature)
	}
	if err != nil {
		s.fail(w, err)
		return
	}
	run, err := s.Measure(r.Context(), in.Wanted)
	if err != nil {
		s.fail(w, err)
		return
	}
	s.begun(w, run)
}
