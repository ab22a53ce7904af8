package web

import (
	"net/http"
	"time"

	"tramd/cmd/tramd/internal/session"
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

// startMotion is the second act. {"held": true} is for a terminal: see holdMotion.
func (s *server) startMotion(w http.ResponseWriter, r *http.Request) {
	in := struct {
		Key     string `json:"key"`
		Purpose string `json:"purpose"`
		Held    bool   `json:"held"`
		warmth
	}{Purpose: "check"}
	err := decode(r, &in)
	if err == nil {
		in.Key, err = words("key", in.Key, 1, 100)
	}
	if err == nil && s.Motion == nil {
		err = noMotion
	}
	if err == nil {
		err = s.tell(in.warmth)
	}
	if err != nil {
		s.fail(w, err)
		return
	}
	start := s.Motion.StartMotion
	if in.Held {
		start = s.Motion.StartHeldMotion
	}
	run, err := start(r.Context(), in.Key, in.Purpose)
	if err != nil {
		s.fail(w, err)
		return
	}
	s.begun(w, run)
}

// holdMotion is a request that lasts as long as the terminal which began the motion of a run: its body brings a byte now and
// then. When it ends, breaks or falls silent, the arm is stopped.
func (s *server) holdMotion(w http.ResponseWriter, r *http.Request) {
	run, err := pathID(r)
	if err == nil && s.Motion == nil {
		err = noMotion
	}
	if err == nil {
		err = s.Motion.HoldMotion(r.Context(), run)
	}
	if err != nil {
		s.fail(w, err)
		return
	}
	defer s.Motion.LetGoMotion(run)
	ctl := http.NewResponseController(w)
	sign := make([]byte, 16)
	for {
		_ = ctl.SetReadDeadline(time.Now().Add(2 * session.HoldFor)) // where there are no deadlines the session's own clock decides
		n, err := r.Body.Read(sign)
		if n > 0 && s.Motion.HoldMotion(r.Context(), run) != nil {
			break // the motion is over
		}
		if err != nil {
			break
		}
	}
	s.reply(w, http.StatusOK, map[string]int64{"run": run})
}
