package drift

import (
	"bytes"
	"errors"
	"strings"
	"testing"
	"time"
)

// What is written while it is worked out is what Tracker says check by check: with parts that end at a check, an event
// between parts, and fewer checks than a part.
func TestRowsAreHandedOnAsTheyAreSaid(t *testing.T) {
	t.Parallel()
	for _, n := range []int{0, 1, part, part + 1, 2*part + 300} {
		h, tr := &History{}, New()
		var want []byte
		between := `{"checks":[`
		for k, c := range hourly(n) {
			if k == part {
				e := Event{Time: c.Time, Kind: "adjusted"}
				h.Entries = append(h.Entries, Entry{Event: &e})
				if err := tr.Event(e); err != nil {
					t.Fatal(err)
				}
			}
			h.Entries = append(h.Entries, Entry{Check: &c})
			row, err := tr.Check(c)
			if err != nil {
				t.Fatal(err)
			}
			want = row.AppendJSON(append(want, between...))
			between = ",\n"
		}
		if n == 0 {
			want = []byte(between)
		}
		want = append(want, `],"next_check":`...)
		var got bytes.Buffer
		a, err := WorkJSON(&got, h, 0.95)
		if err != nil || len(a.Rows) != n || !bytes.HasPrefix(got.Bytes(), want) ||
			!bytes.HasSuffix(got.Bytes(), []byte("}\n")) {
			t.Errorf("%d checks: %v: %d bytes that begin %.200s", n, err, got.Len(), got.String())
		}
	}
}

// Nothing is written of a history that cannot be followed, and a full disk is said.
func TestWorkJSONFails(t *testing.T) {
	t.Parallel()
	h := &History{}
	for k, c := range hourly(2*part + 7) {
		h.Entries = append(h.Entries, Entry{Check: &c, Place: k + 2})
	}
	full := errors.New("no space left on device")
	for _, after := range []int64{0, 1000, 400_000} {
		if _, err := WorkJSON(&leaky{after, full}, h, 0.95); !errors.Is(err, full) {
			t.Errorf("full after %d bytes: %v", after, err)
		}
	}
	h.Entries[2*part].Check.Time = epoch.Add(-time.Hour)
	var got bytes.Buffer
	if _, err := WorkJSON(&got, h, 0.95); !errors.Is(err, ErrOrder) || got.Len() > 0 ||
		!strings.HasPrefix(err.Error(), "2050: ") {
		t.Errorf("%v, %d bytes written", err, got.Len())
	}
}

// leaky takes so many bytes.
type leaky struct {
	left int64
	err  error
}

func (l *leaky) Write(b []byte) (int, error) {
	if l.left -= int64(len(b)); l.left < 0 {
		return 0, l.err
	}
	return len(b), nil
}
