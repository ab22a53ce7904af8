package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"syscall"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/client"
)

// TestMain lets the test binary be the program itself, so that it can be killed like one.
func TestMain(m *testing.M) {
	if os.Getenv("TRAMD_BE_THE_PROGRAM") == "1" {
		main()
		return
	}
	os.Exit(m.Run())
}

// program starts tramd as a process of its own.
func program(t *testing.T, args ...string) *process {
	t.Helper()
	return programWith(t, nil, args...)
}

// programWith gives it something to read from.
func programWith(t *testing.T, in *os.File, args ...string) *process {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	p := &process{cmd: exec.Command(self, args...)}
	p.cmd.Env = append(os.Environ(), "TRAMD_BE_THE_PROGRAM=1")
	p.cmd.Stdout, p.cmd.Stderr = &p.out, &p.err
	if in != nil {
		p.cmd.Stdin = in
	}
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		p.kill()
		if t.Failed() {
			t.Logf("tramd %v said:\n%s%s", args, p.out.String(), p.err.String())
		}
	})
	return p
}

type process struct {
	cmd      *exec.Cmd
	out, err shared
	once     sync.Once
	status   int
}

// wait gives the exit status.
func (p *process) wait() int {
	p.once.Do(func() {
		_ = p.cmd.Wait() // the status says it
		p.status = p.cmd.ProcessState.ExitCode()
	})
	return p.status
}

func (p *process) kill() {
	_ = p.cmd.Process.Signal(syscall.SIGKILL) // it may have ended already
	p.wait()
}

// shared is a buffer that may be read while it is written.
type shared struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *shared) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *shared) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

// otherMachine is a simulated machine that shares no code with tramd: a script in Python writing to ptys.
type otherMachine struct {
	in    io.WriteCloser
	lines *bufio.Scanner
	Paths struct{ Indicator, Encoder string }
}

// startPeer starts a script that shares no code with tramd. It ends when what it reads does.
func startPeer(t *testing.T, script string, args ...string) (cmd *exec.Cmd, in io.WriteCloser, out io.Reader) {
	t.Helper()
	cmd = exec.Command("python3", append([]string{"../../testdata/peer/" + script}, args...)...)
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	if out, err = cmd.StdoutPipe(); err != nil {
		t.Fatal(err)
	}
	cmd.Stderr = os.Stderr
	if err := cmd.Start(); err != nil {
		t.Fatalf("%v; install python3", err)
	}
	return cmd, in, out
}

func startOther(t *testing.T, args ...string) *otherMachine {
	t.Helper()
	cmd, in, out := startPeer(t, "bench.py", args...)
	t.Cleanup(func() { _ = in.Close(); _ = cmd.Wait() })
	m := &otherMachine{in: in, lines: bufio.NewScanner(out)}
	if !m.lines.Scan() {
		t.Fatal("the machine said nothing")
	}
	if err := json.Unmarshal(m.lines.Bytes(), &m.Paths); err != nil {
		t.Fatalf("%v in %q", err, m.lines.Text())
	}
	m.Paths.Indicator, m.Paths.Encoder = plugIn(t, m.Paths.Indicator), plugIn(t, m.Paths.Encoder)
	return m
}

// end ends the script, and both its ports with it.
func (m *otherMachine) end() {
	pullOut(m.Paths.Indicator)
	pullOut(m.Paths.Encoder)
	_ = m.in.Close()
}

// plugIn returns a link to a port, as a shop names its adapters. A daemon that kept the number of a pseudo-terminal
// would open another test's port once the kernel gives that number away again.
func plugIn(t *testing.T, port string) string {
	t.Helper()
	link := filepath.Join(t.TempDir(), filepath.Base(port))
	if err := os.Symlink(port, link); err != nil {
		t.Fatal(err)
	}
	return link
}

// pullOut takes the link away, before the port itself ends.
func pullOut(link string) { _ = os.Remove(link) }

func (m *otherMachine) turn(t *testing.T) {
	t.Helper()
	if _, err := io.WriteString(m.in, "go\n"); err != nil {
		t.Fatal(err)
	}
}

// shop is a folder with a configuration in it.
type shop struct {
	dir, config, page, socket string
}

func newShop(t *testing.T, ports string) shop {
	t.Helper()
	return newShopOn(t, "", ports) // not t.TempDir: a socket's path must stay short
}

// newShopOn makes its folder on a disk; "" is the usual one.
func newShopOn(t *testing.T, disk, ports string) shop {
	t.Helper()
	dir, err := os.MkdirTemp(disk, "shop")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := shop{dir: dir, config: filepath.Join(dir, "linnet.toml"), page: l.Addr().String(),
		socket: filepath.Join(dir, "tramd.sock")}
	l.Close()
	text := fmt.Sprintf(
		"[machine]\nname = \"linnet\"\ntolerance = \"0.02/300\"\n[store]\npath = %q\n[http]\nlisten = %q\n%s",
		filepath.Join(dir, "tramd.db"), s.page, ports)
	if err := os.WriteFile(s.config, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return s
}

func encoderPorts(indicator, encoder string) string {
	return fmt.Sprintf(
		"[[indicator]]\nname = \"arm\"\nport = %q\nradius_mm = 120.0\nradius_u_mm = 0.1\n[angle]\nsource = \"encoder\"\nport = %q\ncounts_per_turn = 4096\nzero_deg = 0.0\n",
		indicator, encoder)
}

// daemon starts the daemon and waits until it answers.
func (s shop) daemon(t *testing.T) *process {
	t.Helper()
	p := program(t, "run", "--config", s.config)
	for range 6000 {
		if c, err := net.Dial("unix", s.socket); err == nil {
			c.Close()
			return p
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Fatalf("the daemon did not answer: %s", p.err.String())
	return nil
}

// client gives a way to the daemon.
func (s shop) client(t *testing.T) *client.Client {
	cl := client.New(s.socket)
	t.Cleanup(cl.Close)
	return cl
}

// call runs the program in this process.
func call(t *testing.T, args ...string) (status int, out, errOut string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 3*time.Minute)
	defer cancel()
	var o, e shared
	status = run(ctx, args, nil, &o, &e)
	return status, o.String(), e.String()
}
