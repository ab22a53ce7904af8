package daemon

import (
	"errors"
	"fmt"

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
