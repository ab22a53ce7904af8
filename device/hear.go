package device

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// Chunk is what one read brought, or what was written.
type Chunk struct {
	At    time.Duration // since listening began
	Data  []byte
	Asked bool // it was written
}

// Ear listens to a port that nothing is known of, at one speed after the other. The port stays open meanwhile: some
// adapters reset what is behind them at every open. It belongs to one goroutine.
type Ear struct {
	port *serialPort
	file *os.File
}

// OpenEar opens a serial port for listening.
func OpenEar(path string) (*Ear, error) {
	if strings.Contains(path, "://") {
		return nil, fmt.Errorf("%s: only a serial port has a speed that could be found", path)
	}
	p, err := openSerial(path, defaultBaud, plainLine, defaultLockDir)
	if err != nil {
		return nil, err
	}
	fd, err := unix.FcntlInt(uintptr(p.descriptor()), unix.F_DUPFD_CLOEXEC, 0)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("listen to %s: %w", path, err), p.Close())
	}
	return &Ear{port: p, file: os.NewFile(uintptr(fd), path)}, nil
}

// Close gives the port back.
func (e *Ear) Close() error { return errors.Join(e.file.Close(), e.port.Close()) }

// hearSettle is how long a line may take to settle at another speed: what it still brings is of the speed before.
const hearSettle = 20 * time.Millisecond

// Hear listens for so long, and no longer than it takes to hear enough bytes. A request is written first, and again
// each time the line has been silent for as long as pause.
func (e *Ear) Hear(ctx context.Context, baud int, line string, long time.Duration, enough int, request string, pause time.Duration) ([]Chunk, error) {
	mode, err := parseLine(line)
	if err != nil {
		return nil, err
	}
	if err := e.port.line.SetMode(mode.with(baud)); err != nil {
		return nil, fmt.Errorf("set the line to %d baud %s: %w", baud, line, err)
	}
	sleep(ctx, hearSettle)
	if err := e.port.line.ResetInputBuffer(); err != nil {
		return nil, fmt.Errorf("flush the line: %w", err)
	}
	stop := context.AfterFunc(ctx, func() { _ = e.file.SetReadDeadline(time.Now()) })
	defer stop()
	var out []Chunk
	start := time.Now()
	end := start.Add(long)
	got := 0
	buf := make([]byte, readBuffer)
	for ask := request != ""; time.Now().Before(end) && got < enough && ctx.Err() == nil; {
		if ask {
			if err := e.file.SetWriteDeadline(time.Now().Add(writeWithin)); err != nil {
				return out, err
			}
			if _, err := io.WriteString(e.file, request); err != nil {
				return out, fmt.Errorf("cannot ask: %w", err)
			}
			out = append(out, Chunk{At: time.Since(start), Data: []byte(request), Asked: true})
			ask = false
		}
		until := end
		if request != "" && time.Now().Add(pause).Before(end) {
			until = time.Now().Add(pause)
		}
		if err := e.file.SetReadDeadline(until); err != nil {
			return out, err
		}
		n, err := e.file.Read(buf)
		if n > 0 {
			out = append(out, Chunk{At: time.Since(start), Data: append([]byte(nil), buf[:n]...)})
			got += n
		}
		switch {
		case errors.Is(err, os.ErrDeadlineExceeded):
			ask = request != ""
		case err != nil || n == 0:
			return out, fmt.Errorf("the port was lost (%s): check the cable", lossText(err))
		}
	}
	return out, ctx.Err()
}

// Decode gives what a spec makes of what was heard, by the decoder of a live port. The stream was joined in mid-talk.
func (s Spec) Decode(chunks []Chunk) ([]Sample, map[string]uint64, error) {
	var out []Sample
	d, err := New(0, s, func(b Batch) { out = append(out, b.Samples...) }, slog.New(slog.DiscardHandler))
	if err != nil {
		return nil, nil, err
	}
	d.dec.opened(false, 0)
	for _, c := range chunks {
		at := Stamp(c.At) + 1
		d.after(at)
		if c.Asked {
			if d.turns != nil {
				d.turns.sent(string(c.Data), at)
			}
			continue
		}
		d.take(c.Data, arrival{from: d.lastRead, at: at, prompt: true})
		d.lastRead = at
		if d.turns != nil {
			d.turns.talked(at)
		}
		d.after(at)
	}
	d.release()
	return out, d.Status().Faults, nil
}
