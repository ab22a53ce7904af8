package web

import (
	"context"
	"io"
	"net/http"

	"tramd/cmd/tramd/internal/api"
)

// Assembly is what the record says of measurements that are no sweep, and of all relations together. Picture and Chain
// return SVG, empty where there is nothing to draw.
type Assembly interface {
	Measured(ctx context.Context, run int64) (api.Measured, error)
	Picture(ctx context.Context, run int64) (string, error)
	Job(ctx context.Context) (*api.Job, error)
	Chain(ctx context.Context) (string, error)
	// what to move at the one that a traverse, a bar or a square shows
	Joint(ctx context.Context, of string) (api.JointAdvice, error)
}

var noAssembly = api.Unavailable.New("the record of the assembly is not open: see the daemon's log")

// measured answers with every number of a run that is no sweep.
func (s *server) measured(r *http.Request) (any, error) {
	id, err := s.recordID(r)
	if err == nil && s.Assembly == nil {
		err = noAssembly
	}
	if err != nil {
		return nil, err
	}
	return s.Assembly.Measured(r.Context(), id)
}

// runPicture answers with the picture of a run that is no sweep.
func (s *server) runPicture(w http.ResponseWriter, r *http.Request) {
	id, err := s.recordID(r)
	s.picture(w, r, err, func() (string, error) { return s.Assembly.Picture(r.Context(), id) })
}

// chainPicture answers with the picture of all relations.
func (s *server) chainPicture(w http.ResponseWriter, r *http.Request) {
	s.picture(w, r, nil, func() (string, error) { return s.Assembly.Chain(r.Context()) })
}

func (s *server) picture(w http.ResponseWriter, r *http.Request, err error, draw func() (string, error)) {
	if err == nil && s.Assembly == nil {
		err = noAssembly
	}
	var svg string
	if err == nil {
		svg, err = draw()
	}
	if err == nil && svg == "" {
		err = api.NotFound.New("there is nothing to draw")
	}
	if err != nil {
		s.fail(w, err)
		return
	}
	w.Header().Set("Content-Type", "image/svg+xml")
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Set("Vary", "Accept-Language")
	_, _ = io.WriteString(w, language(r).Markup(svg)) // a reader who went away needs no answer
}

// job answers with how far the assembly has come.
func (s *server) job(r *http.Request) (any, error) {
	if s.Assembly == nil {
		return nil, noAssembly
	}
	return s.Assembly.Job(r.Context())
}
