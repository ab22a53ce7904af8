package web

import (
	"bytes"
	"io"
	"net/http"

	"tramd/cmd/tramd/internal/api"
)

var noAdvice = api.Unavailable.New("there is no advice to be had: the daemon was started without its record")

// advice answers with what to move next: at the head, or at the joint that a measurement named "of" shows.
func (s *server) advice(r *http.Request) (any, error) {
	switch of := r.URL.Query().Get("of"); {
	case of != "" && s.Assembly != nil:
		return s.Assembly.Joint(r.Context(), of)
	case of == "" && s.Advice != nil:
		return s.Advice(r.Context())
	}
	return nil, noAdvice
}

// sheet serves a page that is whole in itself, to be read and printed, in the reader's language.
func (s *server) sheet(p Sheet) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if p.Write == nil {
			s.fail(w, noAdvice)
			return
		}
		var page bytes.Buffer // a page that could not be finished is not begun
		if err := p.Write(r.Context(), &page); err != nil {
			s.fail(w, err)
			return
		}
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.Header().Set("Content-Security-Policy", p.Policy)
		w.Header().Set("Cache-Control", "no-store")
		w.Header().Set("Vary", "Accept-Language")
		_, _ = io.WriteString(w, language(r).Markup(page.String())) // a reader who went away needs no answer
	}
}

var noDrift = api.Unavailable.New("the history is not worked out here: the daemon was started without it")

func (s *server) drift(r *http.Request) (any, error) {
	if s.Drift == nil {
		return nil, noDrift
	}
	return s.Drift.Drift(r.Context())
}
