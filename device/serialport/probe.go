package serialport

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// Chunk is what one read brought, or what was written.
type Chunk struct {
	At    time.Duration // since the probe began to listen
	Data  []byte
	Asked bool // it was written
}

// Probe listens to a port with an unknown instrument, at one speed after another. The port stays open meanwhile: some
// adapters reset what is behind them at every open. It belongs to one goroutine.
type Probe struct {
	port *Port
	file *os.File
}

// OpenProbe opens a serial port for listening.
func OpenProbe(path string) (*Probe, error) {
	if strings.Contains(path, "://") {
		return nil, fmt.Errorf("%s: only a serial port has a speed that could be found", path)
	}
	p, err := Open(path, DefaultBaud, Plain, LockDir)
	if err != nil {
		return nil, err
	}
	fd, err := unix.FcntlInt(uintptr(p.FD()), unix.F_DUPFD_CLOEXEC, 0)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("listen to %s: %w", path, err), p.Close())
	}
	return &Probe{port: p, file: os.NewFile(uintptr(fd), path)}, nil
}

// Close gives the port back.
func (e *Probe) Close() error { return errors.Join(e.file.Close(), e.port.Close()) }

// writeWithin bounds a write. A line takes a request of 256 bytes at 1200 baud in about two seconds.
const writeWithin = 5 * time.Second

// settleFor is how long a line may take to settle at another speed: what it still brings is of the speed before.
const settleFor = 20 * time.Millisecond

// Listen listens for so long, and no longer than it takes to hear enough bytes. A request is written first, and again
// each time the line has been silent for as long as pause.
func (e *Probe) Listen(ctx context.Context, baud int, line string, long time.Duration, enough int, request string,
	pause time.Duration) ([]Chunk, error) {
	mode, err := ParseMode(line)
	if err != nil {
		return nil, err
	}
	if err := e.port.line.SetMode(mode.with(baud)); err != nil {
		return nil, fmt.Errorf("set the line to %d baud %s: %w", baud, line, err)
	}
	select {
	case <-ctx.Done():
	case <-time.After(settleFor):
	}
	if err := e.port.line.ResetInputBuffer(); err != nil {
		return nil, fmt.Errorf("flush the line: %w", err)
	}
	stop := context.AfterFunc(ctx, func() { _ = e.file.SetReadDeadline(time.Now()) })
	defer stop()
	var out []Chunk
	start := time.Now()
	end := start.Add(long)
	got := 0
	buf := make([]byte, 16<<10)
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
			return out, fmt.Errorf("the port was lost (%s): check the cable", LossText(err))
		}
	}
	return out, ctx.Err()
}
