package runs

import (
	"errors"

	"tramd/cmd/tramd/internal/api"
	"tramd/store"
)

// NotFound returns err as one of the kind api.NotFound where a run, or its readings, are not there.
func NotFound(err error) error {
	if errors.Is(err, store.ErrNotFound) || errors.Is(err, store.ErrGone) {
		return api.NotFound.Errorf("not found: %w", err)
	}
	return err
}

// KindOf returns the kind of an error of the record: the caller made no mistake, and may try again later.
func KindOf(err error) api.Kind {
	switch {
	case errors.Is(err, store.ErrFull):
		return api.Full
	case errors.Is(err, store.ErrBusy), errors.Is(err, store.ErrReadOnly):
		return api.Unavailable
	}
	return api.Internal
}
