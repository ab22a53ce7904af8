package smallfile_test

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"tramd/cmd/tramd/internal/smallfile"
)

func TestRead(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "linnet.toml")
	want := bytes.Repeat([]byte{'#'}, smallfile.Most)
	if err := os.WriteFile(path, want, 0o600); err != nil {
		t.Fatal(err)
	}
	if got, err := smallfile.Read(path); err != nil || !bytes.Equal(got, want) {
		t.Errorf("%d bytes, %v", len(got), err)
	}
	if err := os.WriteFile(path, append(want, '#'), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, endless := range []string{path, "/dev/zero"} {
		if got, err := smallfile.Read(endless); got != nil || err == nil ||
			!strings.Contains(err.Error(), "longer than") {
			t.Errorf("%s: %d bytes, %v", endless, len(got), err)
		}
	}
	if _, err := smallfile.Read(path + ".none"); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("%v", err)
	}
}
