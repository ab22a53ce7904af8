package web

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
)

// slowShop takes imports as the daemon does: it reads all, then works until it is let go on or its context ends.
type slowShop struct {
	begun, goOn, calledOff chan struct{}
}

func (s *slowShop) Import(ctx context.Context, csv io.Reader, _ api.Recorded) (api.Imported, error) {
	text, err := io.ReadAll(csv)
	if err != nil {
		return api.Imported{}, err
	}
	s.begun <- struct{}{}
	select {
	case <-s.goOn:
	case <-ctx.Done():
		close(s.calledOff)
		return api.Imported{}, ctx.Err()
	}
	return api.Imported{Run: int64(len(text))}, nil
}

func newSlowShop() *slowShop {
	return &slowShop{make(chan struct{}, 9), make(chan struct{}, 9), make(chan struct{})}
}

// upload begins to send a file of so many bytes and gives its connection.
func upload(t *testing.T, to string, size int) net.Conn {
	t.Helper()
	c, err := net.Dial("tcp", to)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	if err := c.SetDeadline(time.Now().Add(30 * time.Second)); err != nil {
		t.Fatal(err)
	}
	if _,
		err := fmt.Fprintf(
		c,
		"POST /api/v1/imports?name=a.csv&at=2026-03-02T07:30:00Z HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: %d\r\n\r\n", size); err != nil {
		t.Fatal(err)
	}
	return c
}

func answered(t *testing.T, c net.Conn) (code int, body, retry string) {
	t.Helper()
	resp, err := http.ReadResponse(bufio.NewReader(c), nil)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	return resp.StatusCode, string(text), resp.Header.Get("Retry-After")
}

func importServer(t *testing.T, s *slowShop, piece, await time.Duration) string {
	t.Helper()
	srv := newServer(Options{Imports: s, Local: true})
	srv.imports.piece, srv.imports.await = piece, await
	return serve(t, srv.handler()).Listener.Addr().String()
}

// A file that comes slowly is taken, though the whole takes longer than the server grants a request; and so is a fit
// that takes long.
func TestASlowNetworkDoesNotEndAnImport(t *testing.T) {
	t.Parallel()
	s := newSlowShop()
	c := upload(t, importServer(t, s, 10*time.Second, time.Second), 5)
	for range 5 {
		time.Sleep(200 * time.Millisecond)
		if _, err := io.WriteString(c, "x"); err != nil {
			t.Fatal(err)
		}
	}
	<-s.begun
	time.Sleep(600 * time.Millisecond)
	s.goOn <- struct{}{}
	if code, body, _ := answered(t, c); code != http.StatusCreated || !strings.HasPrefix(body, `{"run":5,`) {
		t.Errorf("%d %s", code, body)
	}
}

// A file that stops coming is given up, and the next is taken.
func TestAFileThatStopsComingIsGivenUp(t *testing.T) {
	t.Parallel()
	s := newSlowShop()
	to := importServer(t, s, 500*time.Millisecond, 20*time.Second)
	c := upload(t, to, 5)
	if code, body, _ := answered(t, c); code != http.StatusRequestTimeout {
		t.Errorf("%d %s", code, body)
	}
	s.goOn <- struct{}{}
	c = upload(t, to, 0)
	if code, body, _ := answered(t, c); code != http.StatusCreated {
		t.Errorf("the next: %d %s", code, body)
	}
}

// One import at a time: another waits a while, and then learns when to come again.
func TestImportsAreTakenOneAtATime(t *testing.T) {
	t.Parallel()
	s := newSlowShop()
	to := importServer(t, s, 10*time.Second, 300*time.Millisecond)
	first := upload(t, to, 0)
	<-s.begun
	if code, body, retry := answered(t, upload(t, to, 0)); code != http.StatusServiceUnavailable || retry == "" {
		t.Errorf("a second at once: %d %s, again in %q", code, body, retry)
	}
	if len(s.begun) != 0 {
		t.Error("a second was begun")
	}
	s.goOn <- struct{}{}
	if code, body, _ := answered(t, first); code != http.StatusCreated {
		t.Errorf("the first: %d %s", code, body)
	}
}

// An import whose sender goes away is called off.
func TestAnImportWhoseSenderGoesAwayIsCalledOff(t *testing.T) {
	t.Parallel()
	s := newSlowShop()
	c := upload(t, importServer(t, s, 10*time.Second, time.Second), 1)
	if _, err := io.WriteString(c, "x"); err != nil {
		t.Fatal(err)
	}
	<-s.begun
	c.Close()
	select {
	case <-s.calledOff:
	case <-time.After(20 * time.Second):
		t.Error("it goes on")
	}
}
