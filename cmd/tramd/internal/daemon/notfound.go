package daemon

import (
	"errors"
	"fmt"

	"tramd/cmd/tramd/internal/web"
	"tramd/store"
)

// notFound says in the pages' words that a run is not there.
func notFound(err error) error {
	if errors.Is(err, store.ErrNotFound) {
		return fmt.Errorf("%w: %w", web.ErrNotFound, err)
	}
	return err
}
