package daemon

import (
	"io"
	"log/slog"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"
)

// pageServer is one of the daemon's servers without the daemon.
func pageServer(t *testing.T) net.Addr {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	h := httpServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if _, err := io.Copy(io.Discard, r.Body); err != nil {
			w.WriteHeader(http.StatusRequestTimeout)
		}
	}), slog.New(slog.DiscardHandler))
	go func() { _ = h.Serve(l) }() // ends with the test
	t.Cleanup(func() { h.Close() })
	return l.Addr()
}

func say(t *testing.T, to net.Addr, text string) net.Conn {
	t.Helper()
	c, err := net.Dial("tcp", to.String())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	if _, err := io.WriteString(c, text); err != nil {
		t.Fatal(err)
	}
	return c
}

func TestAHeaderThatNeverEndsIsCutOff(t *testing.T) {
	addr := pageServer(t)
	c := say(t, addr, "GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ")
	began := time.Now()
	if err := c.SetReadDeadline(began.Add(headerTimeout + 10*time.Second)); err != nil {
		t.Fatal(err)
	}
	if _, err := io.ReadAll(c); err != nil {
		t.Errorf("%v after %v; want it closed after %v", err, time.Since(began), headerTimeout)
	}
}

func TestAHeaderThatIsTooLargeIsRefused(t *testing.T) {
	c := say(t, pageServer(t), "GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Large: "+strings.Repeat("x", 2*maxHeader)+
		"\r\n\r\n")
	answer, err := io.ReadAll(c)
	if !strings.HasPrefix(string(answer), "HTTP/1.1 431 ") {
		t.Errorf("%.60q, %v", answer, err)
	}
}
