package web

import (
	"context"
	"errors"
	"io"
	"net/http"
	"os"
	"time"

	"tramd/cmd/tramd/internal/api"
)

// What an import may cost: a slow network is well while pieces of the file come, but no client has the one place for
// ever.
const (
	importPiece = 30 * time.Second // for one piece of the file
	importTime  = 20 * time.Minute // for all of it
	importWait  = time.Minute      // for the import before it
)

// importLimits are those of a server; its network and its local socket share them.
type importLimits struct {
	place             chan struct{} // holds something while an import is under way: its readings take memory
	piece, all, await time.Duration
}

func newImportLimits() *importLimits {
	return &importLimits{make(chan struct{}, 1), importPiece, importTime, importWait}
}

// take waits for the place; false where it stays taken.
func (l *importLimits) take(ctx context.Context) bool {
	select {
	case l.place <- struct{}{}:
		return true
	case <-ctx.Done():
	case <-time.After(l.await):
	}
	return false
}

func (l *importLimits) free() { <-l.place }

// body gives a body its own deadlines in place of the server's for a whole request.
func (l *importLimits) body(w http.ResponseWriter, r *http.Request) io.Reader {
	return &pieces{r.Body, http.NewResponseController(w), l.piece, time.Now().Add(l.all)}
}

// pieces reads a body of which each piece has its own deadline.
type pieces struct {
	from  io.Reader
	ctl   *http.ResponseController
	piece time.Duration
	until time.Time
}

func (p *pieces) Read(b []byte) (int, error) {
	at := time.Now().Add(p.piece)
	if at.After(p.until) {
		at = p.until
	}
	_ = p.ctl.SetReadDeadline(at) // not every connection has deadlines
	n, err := p.from.Read(b)
	switch {
	case errors.Is(err, io.EOF): // from here on the connection is only watched for its end
		_ = p.ctl.SetReadDeadline(time.Time{})
	case errors.Is(err, os.ErrDeadlineExceeded):
		err = api.Timeout.New("the file stopped coming, or took too long: nothing of it was stored; send it again")
	}
	return n, err
}
