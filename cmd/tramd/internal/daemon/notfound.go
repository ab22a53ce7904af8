package daemon

import (
	"errors"
	"fmt"
	"net/http"

	"tramd/cmd/tramd/internal/web"
	"tramd/store"
)

// notFound says in the pages' words that a run, or its readings, are not there.
func notFound(err error) error {
	if errors.Is(err, store.ErrNotFound) || errors.Is(err, store.ErrGone) {
		return fmt.Errorf("%w: %w", web.ErrNotFound, err)
	}
	return err
}

// statusOf returns the HTTP status of an error of the record: the caller made no mistake, and may try again later.
func statusOf(err error) int {
	switch {
	case errors.Is(err, store.ErrFull):
		return http.StatusInsufficientStorage
	case errors.Is(err, store.ErrBusy), errors.Is(err, store.ErrReadOnly):
		return http.StatusServiceUnavailable
	}
	return 0
}
