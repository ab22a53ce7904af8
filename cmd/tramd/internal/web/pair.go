package web

import "net/http"

// startHalfTurn begins the zeroing of a pair of opposite indicators: {"axis":"tilt"} with the bar left to right, "nod"
// with it front to back. Its run is steered as a sweep's is.
func (s *server) startHalfTurn(w http.ResponseWriter, r *http.Request) {
	var in struct {
		Axis string `json:"axis"`
	}
	err := decode(r, &in)
	if err == nil {
		in.Axis, err = words("axis", in.Axis, 1, 40)
	}
	if err == nil && s.Sweeps == nil {
		err = noSweeps
	}
	if err != nil {
		s.fail(w, err)
		return
	}
	run, err := s.Sweeps.StartHalfTurn(r.Context(), in.Axis)
	if err != nil {
		s.fail(w, err)
		return
	}
	s.begun(w, run)
}

// forgetPair lets go of the pair's zero.
func (s *server) forgetPair(w http.ResponseWriter, r *http.Request) {
	err := noSweeps
	if s.Sweeps != nil {
		err = s.Sweeps.ForgetPair(r.Context())
	}
	if err != nil {
		s.fail(w, err)
		return
	}
	s.reply(w, http.StatusOK, map[string]bool{"zeroed": false})
}
