package store

import (
	"context"

	"tramd/sweep"
)

// chunksOfRun finds the chunks of the row of run at hand: a chunk's number is the run's, shifted, and its place in it.
const chunksOfRun = "chunk.id BETWEEN run.id << 20 AND (run.id << 20 | 1048575)"

// Points returns what Samples gives, without the columns that only other kinds of measurement have.
func (s *Store) Points(ctx context.Context, run int64) ([]sweep.Point, error) {
	out, err := s.Samples(ctx, run)
	return out.Points, err
}
