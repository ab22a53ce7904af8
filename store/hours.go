package store

import "context"

// HoursSinceCheck gives how long the spindle has turned since the last finished sweep, by what its hour counter was said to
// show: the last such event, less the last one from before that sweep. nil where that is not known.
func (s *Store) HoursSinceCheck(ctx context.Context) *float64 {
	var now, then string
	if err := s.r.QueryRowContext(ctx, `SELECT (SELECT text FROM event WHERE kind = ?1 ORDER BY id DESC LIMIT 1),
		(SELECT text FROM event WHERE kind = ?1 AND at_us <= (SELECT started_us FROM run WHERE kind = 'sweep' AND outcome = 'finished'
			ORDER BY id DESC LIMIT 1) ORDER BY id DESC LIMIT 1)`, hoursEvent).Scan(&now, &then); err != nil {
		return nil // one of them is NULL, or the record cannot be read just now
	}
	a, errA := parseHours(then)
	b, errB := parseHours(now)
	if errA != nil || errB != nil || b < a { // a new counter
		return nil
	}
	d := b - a
	return &d
}
