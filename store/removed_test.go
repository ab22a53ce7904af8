package store

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"tramd/sweep"
)

// A record that is removed or replaced while it is open takes nothing more: it would be gone with the program.
func TestARecordThatIsRemovedTakesNothingMore(t *testing.T) {
	t.Parallel()
	for _, x := range []struct {
		name string
		do   func(path string) error
	}{
		{"removed", os.Remove},
		{"replaced", func(path string) error {
			return errors.Join(os.WriteFile(path+".new", []byte("x"), 0o600), os.Rename(path+".new", path))
		}},
	} {
		t.Run(x.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "linnet.db")
			s := open(t, path)
			id := begin(t, s)
			if err := s.AppendPoints(t.Context(), id, []sweep.Point{{T: 1, Angle: 1, Reading: 1}}); err != nil {
				t.Fatal(err)
			}
			if err := x.do(path); err != nil {
				t.Fatal(err)
			}
			err := s.AppendPoints(t.Context(), id, []sweep.Point{{T: 2, Angle: 1, Reading: 1}})
			wantErr(t, err, ErrReadOnly, "removed or replaced", "tramd restore")
			_, err = s.BeginRun(t.Context(),
				NewRun{Kind: "sweep", Purpose: "check", Setup: sweep.Setup{Machine: "linnet"}})
			wantErr(t, err, ErrReadOnly)
		})
	}
}

// A bit of the header that makes the schema look older than it is is damage, and mended: the step that is taken again
// meets what it made.
func TestASchemaThatLooksOlderIsDamage(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "linnet.db")
	s := open(t, path)
	begin(t, s)
	known, err := Options{}.steps()
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteAt([]byte{byte(len(known) - 1)}, 63); err != nil { // the lowest byte of user_version
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	_, err = Open(t.Context(), path, Options{})
	wantErr(t, err, ErrDamaged, "schema")
	if _, err := Salvage(t.Context(), path, Options{}); err != nil {
		t.Fatal(err)
	}
	s = open(t, path)
	if list, err := s.List(t.Context(), 0, 10); err != nil || len(list) != 1 {
		t.Errorf("%d runs, %v", len(list), err)
	}
}
