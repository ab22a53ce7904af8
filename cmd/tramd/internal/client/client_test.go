package client

import (
	"errors"
	"fmt"
	"net"
	"net/http"
	"path/filepath"
	"testing"

	"tramd/cmd/tramd/internal/api"
)

// A daemon that is killed while it writes a state leaves half of it on the line. That is a daemon that went away, and
// not a state that cannot be read.
func TestAStateCutShortIsADaemonThatWentAway(t *testing.T) {
	t.Parallel()
	const whole = "event: state\ndata: {\"machine\":\"linnet\"}\n\n"
	for cut := 1; cut <= len(whole); cut++ {
		socket := filepath.Join(t.TempDir(), "s")
		l, err := net.Listen("unix", socket)
		if err != nil {
			t.Fatal(err)
		}
		srv := &http.Server{Handler: http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			fmt.Fprint(w, whole, whole[:cut])
		})}
		go srv.Serve(l)
		cl, seen := New(socket), 0
		err = cl.Live(t.Context(), func(s *api.Snapshot) bool {
			if seen++; s.Machine != "linnet" {
				t.Errorf("cut after %d bytes: %+v", cut, s)
			}
			return true
		})
		want := 1
		if cut == len(whole) {
			want = 2
		}
		if !errors.Is(err, ErrGone) || seen != want {
			t.Errorf("cut after %d bytes: %d states and %v, want %d and %v", cut, seen, err, want, ErrGone)
		}
		cl.Close()
		srv.Close()
	}
}
