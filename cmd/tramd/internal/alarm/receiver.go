package alarm

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"time"
)

// errRefused marks an answer that will not change by asking again: the message is dropped, and the log says so.
var errRefused = errors.New("refused")

// receiver is a place that gets each message once, in order.
type receiver interface {
	name() string // unique, and the same after a restart
	tell(ctx context.Context, m Message) error
}

// sendTimeout bounds one attempt.
const sendTimeout = 15 * time.Second

var web = &http.Client{Timeout: sendTimeout}

func postJSON(ctx context.Context, url string, body any) error {
	text, err := json.Marshal(body)
	if err != nil {
		return err
	}
	return post(ctx, url, text, nil)
}

func post(ctx context.Context, url string, text []byte, headers map[string]string) error {
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, url, bytes.NewReader(text))
	if err != nil {
		return err
	}
	req.Header.Set("Content-Type", "application/json")
	for name, value := range headers {
		req.Header.Set(name, value)
	}
	resp, err := web.Do(req)
	if err != nil {
		return err
	}
	defer resp.Body.Close()
	said, _ := io.ReadAll(io.LimitReader(resp.Body, 300)) // for the message only
	switch c := resp.StatusCode; {
	case c < 300:
		return nil
	case c >= 400 && c < 500 && c != http.StatusRequestTimeout && c != http.StatusTooManyRequests:
		return fmt.Errorf("%w: %s: %s", errRefused, resp.Status, said)
	default:
		return fmt.Errorf("%s: %s", resp.Status, said)
	}
}
