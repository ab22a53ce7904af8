// Package client speaks to a running daemon over its local socket: the same requests the page makes, without a
// password, since the permissions of the socket's file decide who may.
package client

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"syscall"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/interlock"
	"tramd/store"
	"tramd/sweep/advice"
)

// ErrNoDaemon means that no daemon answers at the socket.
var ErrNoDaemon = errors.New("no daemon answers")

// ErrGone means that a daemon answered and then ended or was killed, before it had said all.
var ErrGone = errors.New("the daemon went away while it answered")

// goneInstead returns ErrGone for the errors of a connection that ended at its other end; their own words tell a person
// nothing.
func goneInstead(err error) error {
	for _, sign := range []error{io.EOF, io.ErrUnexpectedEOF, syscall.ECONNRESET, syscall.EPIPE} {
		if errors.Is(err, sign) {
			return ErrGone
		}
	}
	return err
}

// Client is a way to one daemon.
type Client struct {
	socket string
	http   *http.Client
}

// New makes a client; nothing is dialled yet.
func New(socket string) *Client {
	var d net.Dialer
	return &Client{socket: socket, http: &http.Client{Transport: &http.Transport{
		DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
			c, err := d.DialContext(ctx, "unix", socket)
			if err != nil {
				return nil, fmt.Errorf("%w at %s (%w)", ErrNoDaemon, socket, err)
			}
			return c, nil
		},
	}}}
}

// Close lets go of idle connections.
func (c *Client) Close() { c.http.CloseIdleConnections() }

func (c *Client) do(ctx context.Context, method, path string, in any) (*http.Response, error) {
	var body io.Reader
	kind := "application/json"
	switch x := in.(type) {
	case nil:
	case signsOfLife:
		body, kind = x, "application/octet-stream"
	case io.Reader:
		body, kind = x, "text/csv"
	default:
		text, err := json.Marshal(in)
		if err != nil {
			return nil, err
		}
		body = bytes.NewReader(text)
	}
	req, err := http.NewRequestWithContext(ctx, method, "http://localhost"+path, body)
	if err != nil {
		return nil, err
	}
	if in != nil {
		req.Header.Set("Content-Type", kind)
	}
	resp, err := c.http.Do(req)
	if err != nil {
		if errors.Is(err, ErrNoDaemon) {
			return nil, fmt.Errorf("%w at %s; start it with `tramd run --config FILE`", ErrNoDaemon, c.socket)
		}
		return nil, goneInstead(err)
	}
	if resp.StatusCode >= 300 {
		defer resp.Body.Close()
		var e struct{ Error string }
		if json.NewDecoder(io.LimitReader(resp.Body, 1<<16)).Decode(&e) == nil && e.Error != "" {
			return nil, errors.New(e.Error)
		}
		return nil, fmt.Errorf("the daemon answered %s", resp.Status)
	}
	return resp, nil
}

func (c *Client) call(ctx context.Context, method, path string, in, out any) error {
	resp, err := c.do(ctx, method, path, in)
	if err != nil {
		return err
	}
	defer resp.Body.Close()
	if out == nil {
		return nil
	}
	return goneInstead(json.NewDecoder(resp.Body).Decode(out))
}

// StartSweep begins an attended sweep and gives its run.
func (c *Client) StartSweep(ctx context.Context, turns int, purpose string) (int64, error) {
	return c.StartSweepAt(ctx, turns, purpose, nil)
}

// StartSweepAt begins one at a temperature of the machine in degrees Celsius; nil: what the daemon knows of it.
func (c *Client) StartSweepAt(ctx context.Context, turns int, purpose string, celsius *float64) (int64, error) {
	var out struct{ Run int64 }
	err := c.call(ctx, http.MethodPost, "/api/v1/sweeps", map[string]any{"turns": turns, "purpose": purpose,
		"temperature_c": celsius}, &out)
	return out.Run, err
}

// StartMeasurement begins a traverse, a bar or a travel of the configuration and gives its run.
func (c *Client) StartMeasurement(ctx context.Context, kind, name, purpose string, typed bool, celsius *float64) (
	int64, error) {
	var out struct{ Run int64 }
	err := c.call(ctx, http.MethodPost, "/api/v1/measurements",
		map[string]any{"kind": kind, "name": name, "purpose": purpose, "typed": typed, "temperature_c": celsius}, &out)
	return out.Run, err
}

// StartHalfTurn begins the zeroing of a pair of opposite indicators along an axis and gives its run.
func (c *Client) StartHalfTurn(ctx context.Context, axis string) (int64, error) {
	var out struct{ Run int64 }
	err := c.call(ctx, http.MethodPost, "/api/v1/pair", map[string]string{"axis": axis}, &out)
	return out.Run, err
}

// PointZero is one press of the two that establish where 0 degrees of the encoder is.
func (c *Client) PointZero(ctx context.Context, step api.ZeroStep) (api.ZeroState, error) {
	var out api.ZeroState
	err := c.call(ctx, http.MethodPost, "/api/v1/zero", map[string]any{"step": step}, &out)
	return out, err
}

// Snapshot returns the present state.
func (c *Client) Snapshot(ctx context.Context) (snap *api.Snapshot, err error) {
	err = c.Live(ctx, func(s *api.Snapshot) bool { snap = s; return false })
	return snap, err
}

// ForgetPair lets go of a pair's zero, after the bar was moved or an indicator touched.
func (c *Client) ForgetPair(ctx context.Context) error {
	return c.call(ctx, http.MethodDelete, "/api/v1/pair", nil, nil)
}

// AbandonSweep ends a sweep; its readings stay.
func (c *Client) AbandonSweep(ctx context.Context, run int64) error {
	return c.call(ctx, http.MethodDelete, fmt.Sprintf("/api/v1/sweeps/%d", run), nil, nil)
}

// TakeStation takes the present station on the person's word.
func (c *Client) TakeStation(ctx context.Context, run int64) error {
	return c.call(ctx, http.MethodPost, fmt.Sprintf("/api/v1/sweeps/%d/take", run), nil, nil)
}

// SkipStation leaves the present station out.
func (c *Client) SkipStation(ctx context.Context, run int64) error {
	return c.call(ctx, http.MethodPost, fmt.Sprintf("/api/v1/sweeps/%d/skip", run), nil, nil)
}

// RedoStation puts the last station back to be taken again.
func (c *Client) RedoStation(ctx context.Context, run int64) error {
	return c.call(ctx, http.MethodPost, fmt.Sprintf("/api/v1/sweeps/%d/redo", run), nil, nil)
}

// PutReading gives what a person read off the indicator that is asked for.
func (c *Client) PutReading(ctx context.Context, run int64, text string) error {
	return c.call(ctx, http.MethodPost, fmt.Sprintf("/api/v1/sweeps/%d/reading", run), map[string]string{"text": text},
		nil)
}

// LogEvent stores something that happened to the machine; moved says how much, by adjuster, and may be nil.
func (c *Client) LogEvent(ctx context.Context, kind, text string, moved map[string]float64) error {
	return c.call(ctx, http.MethodPost, "/api/v1/events", map[string]any{"kind": kind, "text": text, "moved": moved},
		nil)
}

// Events returns the last events, the newest first.
func (c *Client) Events(ctx context.Context, limit int) ([]store.Event, error) {
	var out []store.Event
	err := c.call(ctx, http.MethodGet, fmt.Sprintf("/api/v1/events?limit=%d", limit), nil, &out)
	return out, err
}

// UndoEvent takes an event back.
func (c *Client) UndoEvent(ctx context.Context, id int64) error {
	return c.call(ctx, http.MethodDelete, fmt.Sprintf("/api/v1/events/%d", id), nil, nil)
}

// Advice says what to move next.
func (c *Client) Advice(ctx context.Context) (advice.Answer, error) {
	var a advice.Answer
	err := c.call(ctx, http.MethodGet, "/api/v1/advice", nil, &a)
	return a, err
}

// ArmMotion is the first act of moving the arm; with unattended above zero it arms planned checks for so long.
func (c *Client) ArmMotion(ctx context.Context, unattended time.Duration) (api.Armed, error) {
	var out api.Armed
	err := c.call(ctx, http.MethodPost, "/api/v1/motion/arm",
		map[string]float64{"unattended_hours": unattended.Hours()}, &out)
	return out, err
}

// ArmSteps is the first act of moving an axis along a traverse.
func (c *Client) ArmSteps(ctx context.Context, kind, name string) (api.Armed, error) {
	var out api.Armed
	err := c.call(ctx, http.MethodPost, "/api/v1/motion/arm", map[string]string{"kind": kind, "name": name}, &out)
	return out, err
}

// StartSteps is the second act, as [Client.StartMotion].
func (c *Client) StartSteps(ctx context.Context, key, kind, name, purpose string, celsius *float64) (int64, error) {
	var out struct{ Run int64 }
	err := c.call(ctx, http.MethodPost, "/api/v1/motion/start",
		map[string]any{"key": key, "kind": kind, "name": name, "purpose": purpose, "temperature_c": celsius}, &out)
	return out.Run, err
}

// DisarmMotion takes an arming back.
func (c *Client) DisarmMotion(ctx context.Context) error {
	return c.call(ctx, http.MethodDelete, "/api/v1/motion/arm", nil, nil)
}

// StartMotion is the second act, and gives the run. The arm is stopped unless HoldMotion begins at once.
func (c *Client) StartMotion(ctx context.Context, key, purpose string, celsius *float64) (int64, error) {
	var out struct{ Run int64 }
	err := c.call(ctx, http.MethodPost, "/api/v1/motion/start",
		map[string]any{"key": key, "purpose": purpose, "temperature_c": celsius}, &out)
	return out.Run, err
}

// signsOfLife are a byte now and then.
type signsOfLife struct{ *io.PipeReader }

// HoldMotion keeps the motion of a run going until ctx ends. When this program is killed, is stopped or hangs, the
// signs stop and so does the arm.
func (c *Client) HoldMotion(ctx context.Context, run int64) error {
	signs, w := io.Pipe()
	defer signs.Close()
	go func() {
		tick := time.NewTicker(interlock.HoldFor / 5)
		defer tick.Stop()
		for {
			if _, err := w.Write([]byte{'.'}); err != nil {
				return // the request has ended
			}
			select {
			case <-tick.C:
			case <-ctx.Done():
				_ = w.Close() // cannot fail
				return
			}
		}
	}()
	return c.call(context.WithoutCancel(ctx), http.MethodPost, fmt.Sprintf("/api/v1/motion/hold/%d", run),
		signsOfLife{signs}, nil)
}

// Alive reports whether a daemon answers.
func (c *Client) Alive(ctx context.Context) bool {
	resp, err := c.do(ctx, http.MethodGet, "/api/v1/runs?limit=1", nil)
	if err != nil {
		return !errors.Is(err, ErrNoDaemon)
	}
	resp.Body.Close()
	return true
}

// Import brings a recorded measurement in, CSV as it lies in a file.
func (c *Client) Import(ctx context.Context, csv io.Reader, told api.Recorded) (out api.Imported, err error) {
	q := url.Values{"name": {told.Name}, "at": {told.At.Format(time.RFC3339Nano)}, "purpose": {told.Purpose}}
	if told.TemperatureC != nil {
		q.Set("temperature_c", strconv.FormatFloat(*told.TemperatureC, 'g', -1, 64))
	}
	for key, value := range map[string]string{"kind": told.Kind, "subject": told.Subject, "tolerance": told.Tolerance,
		"options": string(told.Own)} {
		if value != "" {
			q.Set(key, value)
		}
	}
	if told.Again {
		q.Set("again", "1")
	}
	err = c.call(ctx, http.MethodPost, "/api/v1/imports?"+q.Encode(), csv, &out)
	return out, err
}

// Refit fits a stored run again; keep stores the result beside the old ones.
func (c *Client) Refit(ctx context.Context, run int64, keep bool) (out api.Refitted, err error) {
	err = c.call(ctx, http.MethodPost, fmt.Sprintf("/api/v1/runs/%d/refit", run), map[string]bool{"keep": keep}, &out)
	return out, err
}

// Run returns one stored run.
func (c *Client) Run(ctx context.Context, id int64) (store.Run, error) {
	var line struct {
		store.Run
		Result json.RawMessage `json:"result"`
	}
	if err := c.call(ctx, http.MethodGet, fmt.Sprintf("/api/v1/runs/%d", id), nil, &line); err != nil {
		return store.Run{}, err
	}
	r := line.Run
	if len(line.Result) > 0 && string(line.Result) != "null" {
		r.Raw = line.Result
	}
	if r.Raw != nil && r.Sweeps() {
		if err := json.Unmarshal(r.Raw, &r.Result); err != nil {
			return r, fmt.Errorf("result of run %d: %w", id, err)
		}
	}
	return r, nil
}

// Live calls fn with each new state until ctx ends, fn says stop, or the daemon goes away.
func (c *Client) Live(ctx context.Context, fn func(*api.Snapshot) (more bool)) error {
	resp, err := c.do(ctx, http.MethodGet, "/api/v1/live", nil)
	if err != nil {
		return err
	}
	defer resp.Body.Close()
	lines := bufio.NewScanner(resp.Body)
	lines.Buffer(nil, 1<<20)
	// An event ends with an empty line. One whose end does not come is no event (WHATWG HTML, server-sent events): the
	// daemon was killed while it wrote.
	event, data := "", ""
	for lines.Scan() {
		line := lines.Text()
		if name, ok := strings.CutPrefix(line, "event: "); ok {
			event = name
		}
		if text, ok := strings.CutPrefix(line, "data: "); ok {
			data = text
		}
		if line != "" {
			continue
		}
		if event == "state" {
			var snap api.Snapshot
			if err := json.Unmarshal([]byte(data), &snap); err != nil {
				return fmt.Errorf("cannot read the daemon's state: %w", err)
			}
			if !fn(&snap) {
				return nil
			}
		}
		event, data = "", ""
	}
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err := goneInstead(lines.Err()); err != nil {
		return err
	}
	return ErrGone
}
