package web

import (
	"context"
	"fmt"
	"net"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
)

// wordy is a record with much to say.
type wordy struct{ *shop }

func (wordy) Runs(context.Context, int64, int) ([]api.Run, error) {
	return []api.Run{{Note: strings.Repeat("x", 16<<20)}}, nil
}

// A client that asks and does not take the answer loses it, and its place. A client that takes it slowly, piece by
// piece, does not.
func TestAnAnswerThatIsNotTakenIsEnded(t *testing.T) {
	t.Parallel()
	s := newServer(Options{Live: always(linnet(0)), Records: wordy{&shop{}}})
	s.answerTimeout = 4 * time.Second // longer than a busy machine takes to begin all of them
	srv := httptest.NewServer(s.handler())
	defer srv.Close()
	ask := func() net.Conn {
		c, err := net.Dial("tcp", strings.TrimPrefix(srv.URL, "http://"))
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { c.Close() })
		fmt.Fprintf(c, "GET /api/v1/runs HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
		return c
	}
	for range maxReads {
		ask()
	}
	held := s.reads.All
	for i := 0; held() < maxReads; i++ {
		if i == 6000 {
			t.Fatalf("%d of %d asked", held(), maxReads)
		}
		time.Sleep(10 * time.Millisecond)
	}
	for began, code := time.Now(), 503; code == 503; { // a place becomes free, on a busy machine late
		if time.Since(began) > time.Minute {
			t.Fatal("no place became free")
		}
		resp, err := srv.Client().Get(srv.URL + "/api/v1/runs/1")
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		code = resp.StatusCode
	}
	for i := 0; held() > 0; i++ {
		if i == 6000 {
			t.Fatalf("%d answers are still held", held())
		}
		time.Sleep(10 * time.Millisecond)
	}
}
