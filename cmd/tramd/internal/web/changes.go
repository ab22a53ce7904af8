package web

import (
	"context"
	"net/http"
	"strconv"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep"
)

var (
	noSweeps  = api.Unavailable.New("sweeps cannot be steered from here: the daemon was started without them")
	noRecords = api.Unavailable.New("there is no store to read: the log of the daemon says why")
)

func (s *server) startSweep(w http.ResponseWriter, r *http.Request) {
	in := struct {
		Turns   int    `json:"turns"`
		Purpose string `json:"purpose"`
		temperature
	}{Turns: 1, Purpose: "check"}
	if err := decode(r, &in); err != nil {
		s.fail(w, err)
		return
	}
	purpose, err := words("purpose", in.Purpose, 1, 40)
	switch {
	case err != nil:
	case in.Turns < 1 || in.Turns > sweep.MaxTurns:
		err = api.Invalid.New("turns: write a whole number from 1 to " + strconv.Itoa(sweep.MaxTurns))
	case s.Sweeps == nil:
		err = noSweeps
	default:
		err = s.noteTemperature(in.temperature)
	}
	if err != nil {
		s.fail(w, err)
		return
	}
	run, err := s.Sweeps.Start(r.Context(), in.Turns, purpose)
	if err != nil {
		s.fail(w, err)
		return
	}
	s.begun(w, run)
}

// temperature is what a start may say of the machine's temperature.
type temperature struct {
	TemperatureC *float64 `json:"temperature_c"` // degrees Celsius; left out or null: not known
}

func (s *server) noteTemperature(t temperature) error {
	switch {
	case t.TemperatureC == nil:
		return nil
	case s.Temperature == nil:
		return api.Unavailable.New("a temperature cannot be stored: the daemon was started without")
	}
	return s.Temperature.Set(*t.TemperatureC)
}

// begun answers with the run that was begun, and where it is.
func (s *server) begun(w http.ResponseWriter, run int64) {
	w.Header().Set("Location", "/api/v1/runs/"+strconv.FormatInt(run, 10))
	s.reply(w, http.StatusCreated, map[string]int64{"run": run})
}

func (s *server) abandonSweep(w http.ResponseWriter, r *http.Request) { s.steer(w, r, Sweeps.Abandon) }
func (s *server) takeStation(w http.ResponseWriter, r *http.Request)  { s.steer(w, r, Sweeps.Take) }

func (s *server) skipStation(w http.ResponseWriter, r *http.Request) { s.steer(w, r, Sweeps.Skip) }

func (s *server) redoStation(w http.ResponseWriter, r *http.Request) {
	in := struct {
		Station int `json:"station"`
	}{-1}
	if err := decode(r, &in); err != nil {
		s.fail(w, err)
		return
	}
	s.steer(w, r, func(sw Sweeps, ctx context.Context, run int64) error { return sw.Redo(ctx, run, in.Station) })
}

func (s *server) putReading(w http.ResponseWriter, r *http.Request) {
	var in struct {
		Indicator string `json:"indicator"`
		Text      string `json:"text"`
	}
	err := decode(r, &in)
	if err == nil {
		in.Text, err = words("text", in.Text, 1, 40)
	}
	if err != nil {
		s.fail(w, err)
		return
	}
	s.steer(w, r, func(sw Sweeps, ctx context.Context, run int64) error {
		return sw.Put(ctx, run, in.Indicator, in.Text)
	})
}

// steering is one of the methods of Sweeps that name a run.
type steering func(s Sweeps, ctx context.Context, run int64) error

// steer does one thing to the run of the path and answers with its number.
func (s *server) steer(w http.ResponseWriter, r *http.Request, do steering) {
	id, err := pathID(r)
	if err == nil && s.Sweeps == nil {
		err = noSweeps
	}
	if err == nil {
		err = do(s.Sweeps, r.Context(), id)
	}
	if err != nil {
		s.fail(w, err)
		return
	}
	s.reply(w, http.StatusOK, map[string]int64{"run": id})
}

func (s *server) addEvent(w http.ResponseWriter, r *http.Request) {
	var in api.NewEvent
	err := decode(r, &in)
	if err == nil {
		in.Kind, err = words("kind", in.Kind, 1, 40)
	}
	if err == nil {
		in.Text, err = words("text", in.Text, 0, 4000)
	}
	if err == nil && in.Run < 0 {
		err = api.Invalid.New("run: write the number of a run, or leave it out")
	}
	if err == nil && s.Records == nil {
		err = noRecords
	}
	if err != nil {
		s.fail(w, err)
		return
	}
	id, err := s.Records.AddEvent(r.Context(), in)
	if err != nil {
		s.fail(w, err)
		return
	}
	s.reply(w, http.StatusCreated, map[string]int64{"event": id})
}
