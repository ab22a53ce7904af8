package main

import (
	"fmt"
	"log/slog"
	"os"
	"os/signal"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"sync"
	"syscall"
)

// exitAborted is the status of a program that a watchdog aborted, as a shell shows it: 128 and the signal's number.
const exitAborted = 128 + int(syscall.SIGABRT)

// lastLook keeps what the daemon's look at its own parts found, for the moment when a watchdog aborts it.
type lastLook struct {
	mu   sync.Mutex
	hung error // nil: all parts moved
}

func (l *lastLook) found(hung error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.hung = hung
}

func (l *lastLook) say() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.hung == nil {
		return "aborted by a signal (SIGABRT), though all its parts moved when it last looked"
	}
	return "aborted by the watchdog: " + l.hung.Error()
}

// onAbort has the program end with one line that says what hung, and a few that say what its goroutines do. Left to
// itself, the runtime writes some hundred lines of them. What it gives back ends that.
func onAbort(log *slog.Logger, look *lastLook, exit func(int)) (stop func()) {
	abort := make(chan os.Signal, 1)
	signal.Notify(abort, syscall.SIGABRT)
	go func() {
		if _, more := <-abort; !more {
			return
		}
		log.Error(look.say(), "goroutines", runtime.NumGoroutine())
		for _, line := range goroutines(allStacks(), mostStacks) {
			log.Error("at work", "goroutine", line)
		}
		exit(exitAborted)
	}()
	return func() { signal.Stop(abort); close(abort) }
}

// mostStacks bounds the lines that an abort writes of goroutines. A daemon with two ports has some twenty kinds.
const mostStacks = 24

func allStacks() string {
	buf := make([]byte, 1<<20) // more is cut off
	return string(buf[:runtime.Stack(buf, true)])
}

// goroutineHead is the first line of one: "goroutine 12 [select, 3 minutes]:".
var goroutineHead = regexp.MustCompile(`^goroutine \d+(?: [^\[]*)? ?\[([^\]]*)\]:$`)

// goroutines sums the stacks of goroutines up: those that do the same in one line, our own before those of libraries.
func goroutines(stacks string, most int) []string {
	type group struct {
		text string
		n    int
		ours bool
	}
	var groups []*group
	for stack := range strings.SplitSeq(stacks, "\n\n") {
		lines := strings.Split(strings.TrimSpace(stack), "\n")
		head := goroutineHead.FindStringSubmatch(lines[0])
		if head == nil || len(lines) < 2 {
			continue
		}
		at, ours := calls(lines[1:])
		text := fmt.Sprintf("%s: %s", head[1], at)
		i := slices.IndexFunc(groups, func(g *group) bool { return g.text == text })
		if i < 0 {
			groups, i = append(groups, &group{text: text, ours: ours}), len(groups)
		}
		groups[i].n++
	}
	slices.SortStableFunc(groups, func(a, b *group) int {
		switch {
		case a.ours == b.ours:
			return b.n - a.n
		case a.ours:
			return -1
		}
		return 1
	})
	var out []string
	for i, g := range groups {
		if i == most {
			out = append(out, fmt.Sprintf("and %d more kinds", len(groups)-most))
			break
		}
		out = append(out, fmt.Sprintf("%d x %s", g.n, g.text))
	}
	return out
}

// calls names the innermost call of a stack and the innermost of ours.
func calls(lines []string) (text string, ours bool) {
	for _, line := range lines {
		if strings.HasPrefix(line, "\t") || strings.HasPrefix(line, "created by ") {
			continue
		}
		name := line
		if i := strings.LastIndex(line, "("); i > 0 {
			name = line[:i]
		}
		mine := strings.HasPrefix(name, "tramd/") || strings.HasPrefix(name, "main.")
		switch {
		case text == "":
			text, ours = name, mine
		case mine && !ours:
			return text + " for " + name, true
		}
		if ours {
			return text, true
		}
	}
	return text, ours
}
