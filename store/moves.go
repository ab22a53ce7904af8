package store

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"tramd/sweep"
	"tramd/sweep/advice"
)

// Trial is one finished sweep and what was done to the machine after it, before the next.
type Trial struct {
	Run       int64
	StartedAt time.Time
	Purpose   string
	Verdict   string
	Entry     advice.Entry
	Told      []string // what was logged after it, in words
	Kinds     []string // the kinds of those events
}

// EndsJob reports whether what came after this sweep belongs to another job: the machine crashed, was serviced or was
// moved, or it was within its tolerance and nothing was adjusted.
func (t Trial) EndsJob() bool {
	adjusted := false
	for _, kind := range t.Kinds {
		if kind != "adjusted" {
			return true
		}
		adjusted = true
	}
	return !adjusted && t.Verdict == string(sweep.Within)
}

// LastJob returns the sweeps of the last job among trials, oldest first.
func LastJob(trials []Trial) []Trial {
	for i := len(trials) - 2; i >= 0; i-- {
		if trials[i].EndsJob() {
			return trials[i+1:]
		}
	}
	return trials
}

// changing are the kinds of event after which the machine is another one.
var changing = []string{"adjusted", "crashed", "serviced", "moved"}

// Changes reports whether the machine is another one after an event of a kind.
func Changes(kind string) bool { return slices.Contains(changing, kind) }

// Trials returns sweeps of a machine, oldest first, each with the moves logged after it: those on either side of each
// change to the machine, the last limit changes back, and the last few whatever happened. A year of checks between two
// jobs is not read, and does not push what the machine answered out of memory. An event that changed the machine
// without saying by how much marks its sweep as Unrecorded. A sweep brought in from a file that is older than what was
// there already says nothing of the machine as it stands, and is left out.
func (s *Store) Trials(ctx context.Context, machine string, limit int) ([]Trial, error) {
	const doing = "read the moves"
	// Not to be cut short: the driver starts a goroutine for every row of a query that can be.
	ctx = context.WithoutCancel(ctx)
	out, err := s.trialRuns(ctx, machine, limit)
	if err == nil && len(out) > 0 {
		err = s.trialMoves(ctx, out)
	}
	return out, s.fault(doing, err)
}

// recentTrials is how many of the last sweeps are given in any case.
const recentTrials = 20

func (s *Store) trialRuns(ctx context.Context, machine string, limit int) ([]Trial, error) {
	rows, err := s.r.QueryContext(ctx, `
		WITH change AS (SELECT DISTINCT after_run FROM event WHERE undone_us IS NULL AND kind IN ('adjusted', 'crashed', 'serviced', 'moved')
				ORDER BY after_run DESC LIMIT ?),
			wanted AS (
				SELECT (SELECT max(id) FROM run WHERE kind = 'sweep' AND outcome = 'finished' AND id <= after_run) AS id FROM change
				UNION SELECT (SELECT min(id) FROM run WHERE kind = 'sweep' AND outcome = 'finished' AND id > after_run) FROM change
				UNION SELECT id FROM (SELECT id FROM run WHERE kind = 'sweep' AND outcome = 'finished' ORDER BY id DESC LIMIT ?))
		SELECT run.id, setup_id, started_us, purpose, coalesce(`+lineJSON+` ->> '$.verdict', ''),
			`+lineJSON+` ->> '$.tilt.mm_per_m', `+lineJSON+` ->> '$.tilt.u_mm_per_m', `+lineJSON+` ->> '$.tilt.U_mm_per_m',
			`+lineJSON+` ->> '$.nod.mm_per_m', `+lineJSON+` ->> '$.nod.u_mm_per_m', `+lineJSON+` ->> '$.nod.U_mm_per_m',
			`+s.sound["run"]+" AND "+s.sound["line"]+`
		FROM wanted JOIN run ON run.id = wanted.id JOIN line ON line.run_id = run.id
		WHERE NOT (run.id IN (SELECT run_id FROM import)
			AND EXISTS (SELECT 1 FROM run AS older WHERE older.id < run.id AND older.started_us > run.started_us AND older.outcome = 'finished'))
		ORDER BY run.id DESC`, min(max(limit, 0), maxPage), recentTrials)
	if err != nil {
		return nil, err
	}
	var found []Trial
	var setups []int64
	for rows.Next() {
		var t Trial
		var setup, started int64
		var x [6]sql.NullFloat64
		var sound bool
		if err := rows.Scan(&t.Run, &setup, &started, &t.Purpose, &t.Verdict, &x[0], &x[1], &x[2], &x[3], &x[4], &x[5],
			&sound); err != nil {
			if _, err := bare(rows); err != nil {
				return nil, errors.Join(err, rows.Close())
			}
		}
		if !sound { // what is not as it was written teaches nothing; the list of runs shows it
			continue
		}
		if !x[0].Valid && !x[3].Valid {
			continue
		}
		t.StartedAt = fromMicros(started)
		t.Entry = advice.Entry{Label: fmt.Sprintf("run %d", t.Run), Tilt: math.NaN(), Nod: math.NaN()}
		if x[0].Valid {
			t.Entry.Tilt, t.Entry.TiltU, t.Entry.TiltHalf = x[0].Float64, x[1].Float64, x[2].Float64
		}
		if x[3].Valid {
			t.Entry.Nod, t.Entry.NodU, t.Entry.NodHalf = x[3].Float64, x[4].Float64, x[5].Float64
		}
		found, setups = append(found, t), append(setups, setup)
	}
	if err := errors.Join(rows.Err(), rows.Close()); err != nil {
		return nil, err
	}
	var out []Trial
	for i, t := range found { // after the query, so that no connection is held while another is asked for
		setup, _, err := s.setup(ctx, s.r, setups[i])
		if errors.Is(err, ErrDamaged) {
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("run %d: %w", t.Run, err)
		}
		if setup.Machine == machine {
			out = append(out, t)
		}
	}
	slices.Reverse(out)
	return out, nil
}

// Unbelieved marks every measurement as one after which the machine was changed in a way that is not written down. That
// is what a damaged event does: nothing of it is to be believed, not its time either, but something may have been
// moved.
func Unbelieved[T any](measured []T, entry func(*T) *advice.Entry) {
	for i := range measured {
		entry(&measured[i]).Unrecorded = true
	}
}

func (s *Store) trialMoves(ctx context.Context, trials []Trial) error {
	rows, err := s.r.QueryContext(ctx, "SELECT id, kind, text, moved, after_run, "+s.sound["event"]+
		" FROM event WHERE after_run >= ? AND undone_us IS NULL ORDER BY id", trials[0].Run)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var id, after int64
		var kind, text string
		var moved sql.NullString
		var sound bool
		if err := rows.Scan(&id, &kind, &text, &moved, &after, &sound); err != nil {
			spoiled, err := bare(rows)
			if err != nil {
				return err
			}
			id, sound = spoiled.run.ID, false
		}
		if !sound {
			_ = s.spoiled(fmt.Sprintf("event %d", id), 0)
			Unbelieved(trials, func(t *Trial) *advice.Entry { return &t.Entry })
			continue
		}
		if !Changes(kind) {
			continue
		}
		at, _ := slices.BinarySearchFunc(trials, after+1, func(t Trial, run int64) int {
			return cmp.Compare(t.Run, run)
		})
		t := &trials[at-1] // there is one: after is at least the first's
		t.Kinds = append(t.Kinds, kind)
		if text != "" {
			kind += ": " + text
		}
		t.Told = append(t.Told, kind)
		if !moved.Valid {
			t.Entry.Unrecorded = true
			continue
		}
		var by map[string]float64
		if err := json.Unmarshal([]byte(moved.String), &by); err != nil {
			return fmt.Errorf("event %d: %w: %w", id, ErrDamaged, err)
		}
		if t.Entry.Moved == nil {
			t.Entry.Moved = map[string]float64{}
		}
		for name, x := range by {
			t.Entry.Moved[name] += x
		}
	}
	return rows.Err()
}
