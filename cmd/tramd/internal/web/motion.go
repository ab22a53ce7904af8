package web

import (
	"net/http"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/interlock"
)

var noMotion = api.Unavailable.New("motion cannot be steered from here: the daemon was started without it")

// along names the traverse along which an axis is to be moved; without it, it is the arm.
type along struct {
	Kind string `json:"kind"`
	Name string `json:"name"`
}

func (a *along) judged() (err error) {
	if a.Kind == "" && a.Name == "" {
		return nil
	}
	if a.Kind, err = words("kind", a.Kind, 1, 40); err == nil {
		a.Name, err = words("name", a.Name, 0, 200)
	}
	return err
}

// armMotion is the first act. {"unattended_hours": 8} arms planned checks instead, {"kind": "traverse", "name": "rail"}
// the axis along that.
func (s *server) armMotion(w http.ResponseWriter, r *http.Request) {
	var in struct {
		Hours float64 `json:"unattended_hours"`
		along
	}
	err := decode(r, &in)
	if err == nil {
		err = in.judged()
	}
	if err == nil && in.Kind != "" && in.Hours != 0 {
		err = api.Invalid.New("unattended_hours: only the arm is moved unattended; leave it out")
	}
	if err == nil && !(in.Hours >= 0 && in.Hours <= 1000) {
		err = api.Invalid.New("unattended_hours: write a number of hours")
	}
	if err == nil && (s.Motion == nil || in.Kind != "" && s.Steps == nil) {
		err = noMotion
	}
	if err != nil {
		s.fail(w, err)
		return
	}
	var out api.Armed
	if in.Kind != "" {
		out, err = s.Steps.ArmSteps(r.Context(), api.Wanted{Kind: in.Kind, Name: in.Name})
	} else {
		out, err = s.Motion.Arm(r.Context(), time.Duration(in.Hours*float64(time.Hour)))
	}
	if err != nil {
		s.fail(w, err)
		return
	}
	s.reply(w, http.StatusOK, out)
}

func (s *server) disarmMotion(w http.ResponseWriter, r *http.Request) {
	err := noMotion
	if s.Motion != nil {
		err = s.Motion.Disarm(r.Context())
	}
	if err != nil {
		s.fail(w, err)
		return
	}
	s.reply(w, http.StatusOK, map[string]bool{"armed": false})
}

// startMotion is the second act. The client that starts a motion holds it: by holdKey, or by holdMotion.
func (s *server) startMotion(w http.ResponseWriter, r *http.Request) {
	in := struct {
		Key     string `json:"key"`
		Purpose string `json:"purpose"`
		Held    bool   `json:"held"`
		along
		temperature
	}{Purpose: "check", Held: true}
	err := decode(r, &in)
	if err == nil && !in.Held {
		err = api.Invalid.New("held: leave it out; every motion that somebody starts is held, by /api/v1/motion/hold")
	}
	if err == nil {
		in.Key, err = words("key", in.Key, 1, 100)
	}
	if err == nil {
		err = in.judged()
	}
	if err == nil && (s.Motion == nil || in.Kind != "" && s.Steps == nil) {
		err = noMotion
	}
	if err == nil {
		err = s.noteTemperature(in.temperature)
	}
	if err != nil {
		s.fail(w, err)
		return
	}
	var run int64
	if in.Kind != "" {
		run, err = s.Steps.StartSteps(r.Context(), in.Key,
			api.Wanted{Kind: in.Kind, Name: in.Name, Purpose: in.Purpose})
	} else {
		run, err = s.Motion.StartMotion(r.Context(), in.Key, in.Purpose)
	}
	if err != nil {
		s.fail(w, err)
		return
	}
	s.begun(w, run)
}

// holdKey takes a sign of life of the owner of a key, before the start or after it.
func (s *server) holdKey(w http.ResponseWriter, r *http.Request) { s.byKey(w, r, true) }

// letGoKey stops the motion of a key, or keeps it from being started.
func (s *server) letGoKey(w http.ResponseWriter, r *http.Request) { s.byKey(w, r, false) }

func (s *server) byKey(w http.ResponseWriter, r *http.Request, hold bool) {
	var in struct {
		Key string `json:"key"`
	}
	err := decode(r, &in)
	if err == nil {
		in.Key, err = words("key", in.Key, 1, 100)
	}
	switch {
	case err != nil:
	case s.Motion == nil:
		err = noMotion
	case hold:
		err = s.Motion.Hold(r.Context(), in.Key)
	default:
		err = s.Motion.LetGo(r.Context(), in.Key)
	}
	if err != nil {
		s.fail(w, err)
		return
	}
	s.reply(w, http.StatusOK, map[string]bool{"held": hold})
}

// holdMotion is a request that lasts as long as the terminal which began the motion of a run: its body brings a byte
// now and then. When it ends, breaks or falls silent, the arm is stopped.
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
		// where there are no deadlines the session's own clock decides
		_ = ctl.SetReadDeadline(time.Now().Add(2 * interlock.HoldFor))
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
