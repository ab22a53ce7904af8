package tui

import (
	"fmt"
	"io"
	"os"
	"strings"
	"sync"
	"time"

	"golang.org/x/term"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/display"
)

// Progress shows a sweep while it goes on: one line that is rewritten on a terminal, a line now and then elsewhere.
type Progress struct {
	mu    sync.Mutex // a key's answer comes from another goroutine
	w     io.Writer
	tty   bool
	said  string
	at    time.Time
	width int
	units display.Units
}

// NewProgress returns one that writes to w, in the units that w stands for.
func NewProgress(w io.Writer) *Progress {
	units, w := display.Behind(w)
	f, ok := w.(*os.File)
	return &Progress{w: w, units: units, tty: ok && term.IsTerminal(int(f.Fd()))}
}

// State shows the state of now.
func (s *Progress) State(snap *api.Snapshot) {
	s.mu.Lock()
	defer s.mu.Unlock()
	now := time.Now()
	sw := snap.Sweep
	every := 2 * time.Second
	if s.tty {
		every = 100 * time.Millisecond
	}
	if sw.Say == s.said && now.Sub(s.at) < every {
		return
	}
	if !s.tty && now.Sub(s.at) < every && stem(sw.Say) == stem(s.said) {
		return
	}
	s.said, s.at = sw.Say, now
	line := s.units.Words(sw.Say + s.lean(sw))
	if !s.tty {
		fmt.Fprintln(s.w, line)
		return
	}
	pad := max(0, s.width-len([]rune(line)))
	s.width = len([]rune(line))
	fmt.Fprintf(s.w, "\r%s%s", line, strings.Repeat(" ", pad))
}

// stem is what a line says apart from the figures in it.
func stem(say string) string { head, _, _ := strings.Cut(say, ":"); return head }

func (s *Progress) lean(sw api.SweepState) string {
	if m := sw.Measured; m != nil && m.Say != "" {
		return fmt.Sprintf("  %s, %d readings", m.Say, sw.Readings)
	}
	if sw.Result == nil {
		return ""
	}
	var b strings.Builder
	if t := sw.Result.Tilt; t != nil {
		fmt.Fprintf(&b, "  tilt %+.3f ± %.3f", t.Slope.MMPerM(), t.Expanded.MMPerM())
	}
	if n := sw.Result.Nod; n != nil {
		fmt.Fprintf(&b, "  nod %+.3f ± %.3f", n.Slope.MMPerM(), n.Expanded.MMPerM())
	}
	if l := sw.Result.SizeOnly(); l != nil {
		fmt.Fprintf(&b, "  lean %.3f ± %.3f", l.Slope.MMPerM(), l.Expanded.MMPerM())
	}
	b.WriteString(" mm/m")
	if l := sw.Result.SizeOnly(); l != nil {
		b.WriteString(", " + l.Direction())
	}
	fmt.Fprintf(&b, ", %d readings", sw.Readings)
	return b.String()
}

// note shows a line of its own; what stood there is shown again below it.
func (s *Progress) note(text string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.tty && s.said != "" {
		fmt.Fprintln(s.w)
	}
	fmt.Fprintln(s.w, s.units.Words(text))
	s.said, s.width, s.at = "", 0, time.Time{}
}

// End ends the line that stands.
func (s *Progress) End() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.tty && s.said != "" {
		fmt.Fprintln(s.w)
	}
}
