package api

import (
	"context"
	"errors"
	"fmt"
	"net/http"
)

// Kind says what a caller can do about an error.
type Kind int

// The kinds of error.
const (
	Internal     Kind = iota // ours: the log says more
	Invalid                  // what was sent cannot be: correct it
	Unauthorized             // log in first
	Forbidden                // not allowed for any caller
	NotFound                 // there is no such thing
	Timeout                  // it stopped coming: send it again
	Conflict                 // not in the present state: change that first
	TooLarge                 // longer than is read
	Misdirected              // asked by a name that is not this machine's
	Unfit                    // well written, and nothing can be made of it
	TooMany                  // wait
	Unavailable              // not now: try again later
	Full                     // there is no room on the disk
)

// statuses is the one place that knows which HTTP status a kind has.
var statuses = [...]int{
	Internal: http.StatusInternalServerError, Invalid: http.StatusBadRequest, Unauthorized: http.StatusUnauthorized,
	Forbidden: http.StatusForbidden, NotFound: http.StatusNotFound, Timeout: http.StatusRequestTimeout,
	Conflict: http.StatusConflict, TooLarge: http.StatusRequestEntityTooLarge,
	Misdirected: http.StatusMisdirectedRequest,
	Unfit:       http.StatusUnprocessableEntity, TooMany: http.StatusTooManyRequests,
	Unavailable: http.StatusServiceUnavailable,
	Full:        http.StatusInsufficientStorage,
}

// Status returns the HTTP status of the kind.
func (k Kind) Status() int { return statuses[k] }

// Error is an error of a kind.
type Error struct {
	Kind Kind
	Err  error
}

func (e *Error) Error() string { return e.Err.Error() }
func (e *Error) Unwrap() error { return e.Err }

// New returns an error of the kind that says text.
func (k Kind) New(text string) error { return &Error{k, errors.New(text)} }

// Errorf returns an error of the kind, as fmt.Errorf words it.
func (k Kind) Errorf(format string, args ...any) error { return &Error{k, fmt.Errorf(format, args...)} }

// Of returns err as one of the kind.
func (k Kind) Of(err error) error { return &Error{k, err} }

// KindOf returns the kind of an error; Internal where it has none.
func KindOf(err error) Kind {
	var e *Error
	var big *http.MaxBytesError
	switch {
	case errors.As(err, &e):
		return e.Kind
	case errors.As(err, &big):
		return TooLarge
	case errors.Is(err, context.DeadlineExceeded), errors.Is(err, context.Canceled):
		return Unavailable
	}
	return Internal
}
