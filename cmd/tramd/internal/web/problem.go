package web

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
)

// Problem is an error that knows its HTTP status: 409 a sweep is already running, 404 no such run, 503 not now.
type Problem interface {
	error
	HTTPStatus() int
}

// ErrNotFound is what Records wraps for an id that is not there.
var ErrNotFound = errors.New("not found")

type problem struct {
	status int
	text   string
}

func (p problem) Error() string   { return p.text }
func (p problem) HTTPStatus() int { return p.status }

// NotYet is a Problem: what was asked for will be there in a moment.
func NotYet(text string) Problem { return problem{http.StatusServiceUnavailable, text} }

// Wrong is a Problem: the caller wrote something that cannot be.
func Wrong(err error) Problem { return problem{http.StatusBadRequest, err.Error()} }

// status returns the HTTP status of an error.
func status(err error) int {
	var p Problem
	var big *http.MaxBytesError
	switch {
	case errors.As(err, &p):
		if s := p.HTTPStatus(); s >= 400 && s <= 599 {
			return s
		}
		return http.StatusInternalServerError
	case errors.As(err, &big):
		return http.StatusRequestEntityTooLarge
	case errors.Is(err, ErrNotFound):
		return http.StatusNotFound
	case errors.Is(err, context.DeadlineExceeded), errors.Is(err, context.Canceled):
		return http.StatusServiceUnavailable
	}
	return http.StatusInternalServerError
}

// fail tells an error; those that are ours rather than the caller's are logged too.
func (s *server) fail(w http.ResponseWriter, err error) {
	code := status(err)
	if code == http.StatusInternalServerError && s.StatusOf != nil {
		if own := s.StatusOf(err); own != 0 {
			code = own
		}
	}
	if code == http.StatusInternalServerError {
		s.Log.Error("request failed", "why", err)
	}
	s.reply(w, code, map[string]string{"error": err.Error()})
}

// reply sends v as JSON. It is encoded first, so that a value that cannot be encoded is an error and not half an
// answer.
func (s *server) reply(w http.ResponseWriter, code int, v any) {
	body, err := json.Marshal(v)
	if err != nil {
		s.Log.Error("answer cannot be written as JSON", "why", err)
		code, body = http.StatusInternalServerError, []byte(`{"error":"the answer could not be written as JSON; the log says why"}`)
	}
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(code)
	_, _ = w.Write(append(body, '\n'))
}
