package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"

	"github.com/creack/pty"
)

// socketed is a lasting name at which an indicator is plugged in and pulled out.
type socketed struct {
	name string
	out  *os.File
	stop chan struct{}
	sent atomic.Int64 // readings that went into it
}

func (p *socketed) plug(t *testing.T) {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	_ = os.Remove(p.name) // there is none the first time
	if err := errors.Join(os.Symlink(slave.Name(), p.name), slave.Close()); err != nil {
		t.Fatal(err)
	}
	stop := make(chan struct{})
	p.out, p.stop = master, stop
	go func() {
		tick := time.NewTicker(20 * time.Millisecond)
		defer tick.Stop()
		for {
			select {
			case <-stop:
				return
			case <-tick.C:
				if _, err := master.WriteString("0.123 mm\r\n"); err == nil { // it fails while nobody has opened it
					p.sent.Add(1)
				}
			}
		}
	}()
}

func (p *socketed) pull() {
	close(p.stop)
	_ = p.out.Close()
	_ = os.Remove(p.name)
}

// jammed says that another program holds a pty of that number: the numbers are handed out again as soon as a pty is
// closed, and other tests may be running.
func jammed(d api.DeviceState) bool { return strings.Contains(d.Error, "in use by pid") }

// replug takes another pty, and lets go of the old one only then, so that it is another.
func (p *socketed) replug(t *testing.T) {
	stop, out := p.stop, p.out
	p.plug(t)
	close(stop)
	_ = out.Close()
}

// plugged waits until all are live.
func plugged(t *testing.T, s shop, sockets []*socketed) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	tried := time.Now()
	if err := s.client(t).Live(ctx, func(snap *api.Snapshot) bool {
		for i, d := range snap.Devices {
			if jammed(d) && time.Since(tried) > 2*time.Second {
				tried = time.Now()
				sockets[i].replug(t)
			}
		}
		return !live(snap)
	}); err != nil {
		t.Fatalf("waiting for all ports live: %v", err)
	}
}

// Sixteen indicators are pulled out and plugged in again, each as soon as the daemon has noticed.
func tortureUnplugs(t *testing.T) {
	const ports = 16
	wanted := much(ports, 1000)
	dir := t.TempDir()
	sockets := make([]*socketed, ports)
	var text strings.Builder
	for i := range sockets {
		sockets[i] = &socketed{name: filepath.Join(dir, fmt.Sprintf("arm%d", i))}
		fmt.Fprintf(&text, "[[indicator]]\nname = \"arm%d\"\nport = %q\nradius_mm = 120.0\n", i, sockets[i].name)
	}
	s := newShop(t, text.String()+"[angle]\nsource = \"stations\"\n")
	s.daemon(t)
	for _, p := range sockets {
		p.plug(t)
	}
	t.Cleanup(func() {
		for _, p := range sockets {
			p.pull()
		}
	})
	plugged(t, s, sockets)
	before := holds(t, s)

	began := time.Now()
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Minute)
	defer cancel()
	pulled, there := 0, make([]bool, ports)
	for i := range there {
		there[i] = true
	}
	tried := time.Now()
	err := s.client(t).Live(ctx, func(snap *api.Snapshot) bool {
		all := true
		for _, d := range snap.Devices {
			var i int
			if _, err := fmt.Sscanf(d.Name, "arm%d", &i); err != nil {
				continue
			}
			switch {
			case there[i] && jammed(d) && time.Since(tried) > 2*time.Second:
				tried = time.Now()
				sockets[i].replug(t)
			case there[i] && d.State == "live" && d.AgeS != nil && *d.AgeS < 0.5 && pulled < wanted:
				sockets[i].pull()
				there[i] = false
				pulled++
			case !there[i] && d.State != "live" && d.State != "settling":
				sockets[i].plug(t)
				there[i] = true
			}
			all = all && there[i] && d.State == "live"
		}
		return pulled < wanted || !all
	})
	if err != nil {
		t.Fatalf("after %d of %d: %v", pulled, wanted, err)
	}
	took := time.Since(began)
	plugged(t, s, sockets)
	after := holds(t, s)
	if after.fds > before.fds+5 || after.goroutines > before.goroutines+10 || after.rssKB > before.rssKB+20_000 {
		t.Errorf("before %+v, after %+v", before, after)
	}
	cameOf("sixteen ports pulled out and plugged in again, each as soon as it was noticed",
		"%d unplugs, %d of %d ports live at the end without help; open files %d before, %d after, goroutines %d, %d, resident %.1f, %.1f MB; %.0f s",
		pulled, ports, ports, before.fds, after.fds, before.goroutines, after.goroutines, mb(before), mb(after),
		took.Seconds())
}

func mb(f footprint) float64 { return float64(f.rssKB) / 1024 }
