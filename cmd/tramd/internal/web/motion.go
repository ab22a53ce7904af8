package web

import (
	"net/http"
	"strconv"
	"time"
)

var noMotion = problem{http.StatusServiceUnavailable, "motion cannot be steered from here: the daemon was started without it"}

// armMotion is the first act. {"unattended_hours": 8} arms planned checks instead.
func (s *server) armMotion(w http.ResponseWriter, r *http.Request) {
	var in struct {
		Hours float64 `json:"unattended_hours"`
	}
	err := decode(r, &in)
	if err == nil && !(in.Hours >= 0 && in.Hours <= 1000) {
		err = problem{http.StatusBadRequest, "unattended_hours: write a number of hours"}
	}
	if err == nil && s.Motion == nil {
		err = noMotion
	}
	if err != nil {
		s.fail(w, err)
		return
	}
	out, err := s.Motion.Arm(r.Context(), time.Duration(in.Hours*float64(time.Hour)))
	if err != nil {
		s.fail(w, err)
		return
	}
	s.reply(w, http.StatusOK, out)
}

func (s *server) disarmMotion(w http.ResponseWriter, r *http.Request) {
	err := error(noMotion)
	if s.Motion != nil {
		err = s.Motion.Disarm(r.Context())
	}
	if err != nil {
		s.fail(w, err)
		return
	}
	s.reply(w, http.StatusOK, map[string]bool{"armed": false})
}

// startMotion is the second act.
func (s *server) startMotion(w http.ResponseWriter, r *http.Request) {
	in := struct {
		Key     string `json:"key"`
		Purpose string `json:"purpose"`
	}{Purpose: "check"}
	err := decode(r, &in)
	if err == nil {
		in.Key, err = words("key", in.Key, 1, 100)
	}
	if err == nil && s.Motion == nil {
		err = noMotion
	}
	if err != nil {
		s.fail(w, err)
		return
	}
	run, err := s.Motion.StartMotion(r.Context(), in.Key, in.Purpose)
	if err != nil {
		s.fail(w, err)
		return
	}
	w.Header().Set("Location", "/api/v1/runs/"+strconv.FormatInt(run, 10))
	s.reply(w, http.StatusCreated, map[string]int64{"run": run})
}
