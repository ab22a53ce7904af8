package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/json"
	"fmt"
	"math/bits"
	"slices"

	"tramd/sweep"
	"tramd/sweep/units"
)

// setupCache bounds how many setups are kept decoded; a shop has a handful.
const setupCache = 256

// putSetup returns the row of a setup, adding it if none is the same.
func putSetup(ctx context.Context, tx *sql.Tx, setup sweep.Setup, own json.RawMessage) (int64, error) {
	text, err := setupText(setup, own)
	if err != nil {
		return 0, fmt.Errorf("setup: %w", err)
	}
	tol := setup.Tolerance
	if parsed, err := units.ParseTolerance(tol.Text); err != nil {
		return 0, fmt.Errorf("setup: %w", err)
	} else if parsed.Limit != tol.Limit {
		return 0,
			fmt.Errorf(
				"setup: tolerance %q is %v mm/m, not %v mm/m: only its text is stored, so make it with units.ParseTolerance",
				tol.Text, parsed.Limit.MMPerM(), tol.Limit.MMPerM())
	}
	hash := setupHash(string(text), tol.Text)
	if _, err := tx.ExecContext(ctx,
		"INSERT INTO setup (hash, json, tolerance) VALUES (?, ?, ?) ON CONFLICT (hash) DO NOTHING",
		hash[:], string(text), tol.Text); err != nil {
		return 0, err
	}
	var id int64
	err = tx.QueryRowContext(ctx, "SELECT id FROM setup WHERE hash = ?", hash[:]).Scan(&id)
	return id, err
}

// querier is a connection, a transaction or a pool.
type querier interface {
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// stored is a setup as it lies in its row.
type stored struct {
	setup sweep.Setup
	own   json.RawMessage
}

// ownKey is the key of a setup's JSON under which the part lies that only its kind of measurement has.
const ownKey = "own"

// setupText is the JSON of a setup, with the part of its kind under a key of its own.
func setupText(setup sweep.Setup, own json.RawMessage) ([]byte, error) {
	text, err := json.Marshal(setup)
	if err != nil || len(own) == 0 {
		return text, err
	}
	var object map[string]json.RawMessage
	if err := json.Unmarshal(own, &object); err != nil || object == nil {
		return nil, fmt.Errorf("the part of its kind is %.40q, want a JSON object", own)
	}
	if own, err = json.Marshal(own); err != nil { // compact, or the same setup would have two rows
		return nil, err
	}
	return slices.Concat(text[:len(text)-1], []byte(`,"`+ownKey+`":`), own, []byte("}")), nil
}

func setupHash(text, tolerance string) [32]byte {
	return sha256.Sum256(slices.Concat([]byte(text), []byte{0}, []byte(tolerance)))
}

// setup gives a stored setup. One that is not as it was written is mended where a single bit was spoiled (SHA-256 says
// which); otherwise it is ErrDamaged.
func (s *Store) setup(ctx context.Context, q querier, id int64) (sweep.Setup, json.RawMessage, error) {
	s.mu.Lock()
	found, ok := s.setups[id]
	s.mu.Unlock()
	if !ok {
		var text, tolerance string
		var hash []byte
		if err := q.QueryRowContext(ctx, "SELECT json, tolerance, hash FROM setup WHERE id = ?", id).Scan(
			&text, &tolerance, &hash); err != nil {
			return sweep.Setup{}, nil, err
		}
		text, tolerance, sound := mendSetup(text, tolerance, hash)
		if !sound {
			return sweep.Setup{}, nil, fmt.Errorf("setup %d: %w: its checksum does not fit", id, ErrDamaged)
		}
		var err error
		if found, err = decodeSetup(text); err != nil {
			return sweep.Setup{}, nil, fmt.Errorf("setup %d: %w: %w", id, ErrDamaged, err)
		}
		tol, err := units.ParseTolerance(tolerance)
		if err != nil { // a form that is no longer understood must not hide the readings
			s.log.Warn("a stored tolerance cannot be read; the run is shown without a limit", "setup", id, "err", err)
			tol = units.Tolerance{Text: tolerance}
		}
		found.setup.Tolerance = tol
		s.mu.Lock()
		if len(s.setups) >= setupCache {
			clear(s.setups)
		}
		s.setups[id] = found
		s.mu.Unlock()
	}
	setup := found.setup
	setup.Indicators = slices.Clone(setup.Indicators) // the caller may change its own
	setup.StationsDeg = slices.Clone(setup.StationsDeg)
	return setup, found.own, nil
}

func decodeSetup(text string) (out stored, err error) {
	var own struct {
		Own json.RawMessage `json:"own"`
	}
	if err := json.Unmarshal([]byte(text), &own); err != nil {
		return out, err
	}
	out.own = own.Own
	return out, json.Unmarshal([]byte(text), &out.setup)
}

// mendSetup checks a setup against its hash, and turns back the one bit of either that was spoiled.
func mendSetup(text, tolerance string, hash []byte) (mended, mendedTolerance string, ok bool) {
	want := [32]byte{}
	if copy(want[:], hash) != len(hash) || len(hash) != len(want) {
		return text, tolerance, false
	}
	got := setupHash(text, tolerance)
	if got == want || differentBits(got, want) == 1 {
		return text, tolerance, true
	}
	const longest = 16 << 10 // bytes: a setup is far shorter, and each bit of it costs a hash
	all := []byte(text + "\x00" + tolerance)
	for i := range all {
		if i == len(text) || len(all) > longest {
			continue
		}
		for bit := range 8 {
			all[i] ^= 1 << bit
			if sha256.Sum256(all) == want {
				return string(all[:len(text)]), string(all[len(text)+1:]), true
			}
			all[i] ^= 1 << bit
		}
	}
	return text, tolerance, false
}

func differentBits(a, b [32]byte) int {
	n := 0
	for i := range a {
		n += bits.OnesCount8(a[i] ^ b[i])
	}
	return n
}
