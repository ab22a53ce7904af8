package tui

import (
	"context"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"sort"
	"strings"
	"sync"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/device"
	"tramd/device/frame"
	"tramd/sweep/units"
)

const (
	listenRows  = 25                    // at most so many rows a second, for a fast stream
	listenFlush = 50 * time.Millisecond // what was read is shown at the latest after this
)

// listenView writes rows: when, the bytes, their text, and what they were read as.
type listenView struct {
	out    io.Writer
	all    bool
	json   bool // a line for each read, for a program
	start  device.Stamp
	status func() device.Status

	mu      sync.Mutex
	at      device.Stamp
	asked   bool
	raw     []byte
	read    []string
	faults  map[string]uint64
	budget  float64 // rows that may be shown
	refill  device.Stamp
	skipped int
	err     error
}

func (v *listenView) tap(at device.Stamp, p []byte, asked bool) {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.flush()
	v.at, v.asked = at, asked
	v.raw = append(v.raw, p...)
}

func (v *listenView) sink(b device.Batch) {
	v.mu.Lock()
	defer v.mu.Unlock()
	for _, s := range b.Samples {
		v.read = append(v.read, SampleText(s))
	}
}

// tick shows the last read where no other follows.
func (v *listenView) tick(ctx context.Context) {
	t := time.NewTicker(listenFlush)
	defer t.Stop()
	for ctx.Err() == nil {
		select {
		case <-ctx.Done():
		case <-t.C:
		}
		v.mu.Lock()
		if device.Now()-v.at > device.Stamp(listenFlush) || ctx.Err() != nil {
			v.flush()
		}
		v.mu.Unlock()
	}
}

// flush writes what came with one read. The faults that were counted since belong to it, or to what it ended.
func (v *listenView) flush() {
	if len(v.raw) == 0 && len(v.read) == 0 {
		return
	}
	faults := v.status().Faults
	for _, reason := range sortedKeys(faults) {
		if n := faults[reason]; n > v.faults[reason] {
			v.read = append(v.read, "bad: "+reason)
			v.faults[reason] = n
		}
	}
	raw, read := v.raw, v.read
	v.raw, v.read = v.raw[:0], v.read[:0]
	if !v.afford(max(1, (len(raw)+15)/16)) {
		v.skipped++
		return
	}
	var b strings.Builder
	if v.skipped > 0 {
		fmt.Fprintf(&b, "%11s  %d reads not shown (--all shows them)\n", "", v.skipped)
		v.skipped = 0
	}
	if v.json {
		b.WriteString(jsonLine(api.Listened{Seconds: (v.at - v.start).Seconds(), Asked: v.asked,
			Bytes: hex.EncodeToString(raw), Read: slices.Clone(read)}))
	} else {
		WriteRows(&b, (v.at - v.start).Seconds(), raw, v.asked, strings.Join(read, ", "))
	}
	if _, err := io.WriteString(v.out, b.String()); err != nil && v.err == nil {
		v.err = err
	}
}

func jsonLine(v any) string {
	text, err := json.Marshal(v)
	if err != nil { // of plain values only
		return ""
	}
	return string(text) + "\n"
}

// afford reports whether so many rows may be shown now.
func (v *listenView) afford(rows int) bool {
	now := device.Now()
	v.budget = min(listenRows, v.budget+listenRows*(now-v.refill).Seconds())
	v.refill = now
	if !v.all && v.budget < 1 {
		return false
	}
	v.budget -= float64(rows)
	return true
}

// WriteRows writes 16 bytes a row; what they were read as stands at the last.
func WriteRows(b *strings.Builder, at float64, raw []byte, asked bool, read string) {
	mark := "<"
	if asked {
		mark = ">"
	}
	for first := true; first || len(raw) > 0; first = false {
		row := raw[:min(16, len(raw))]
		raw = raw[len(row):]
		when := fmt.Sprintf("%9.3f s", at)
		if !first {
			when = ""
		}
		text := make([]byte, len(row))
		for i, c := range row {
			text[i] = '.'
			if c >= ' ' && c <= '~' {
				text[i] = c
			}
		}
		line := fmt.Sprintf("%11s %s %-47s  %-16s", when, mark, fmt.Sprintf("% X", row), text)
		if len(raw) == 0 {
			line += "  " + read
		}
		b.WriteString(strings.TrimRight(line, " ") + "\n")
	}
}

// SampleText returns a sample as people read it.
func SampleText(s device.Sample) string {
	name := ""
	if s.Channel != "" {
		name = s.Channel + " "
	}
	switch s.Kind {
	case frame.Level:
		return name + map[int64]string{0: "0", 1: "1"}[s.Value]
	case frame.RunTime:
		return fmt.Sprintf("%s%.6g h", name, (time.Duration(s.Value) * time.Millisecond).Hours())
	case frame.Count:
		return fmt.Sprintf("%scount %d", name, s.Value)
	case frame.Angle:
		return fmt.Sprintf("%s%.6g deg", name, float64(s.Value)/1e6)
	}
	return fmt.Sprintf("%s%.6g mm", name, units.Length(s.Value).MM())
}

func (v *listenView) summary(st device.Status) error {
	v.mu.Lock()
	defer v.mu.Unlock()
	took := (device.Now() - v.start).Seconds()
	if v.json {
		sum := api.ListenedSum{Readings: st.Readings, Seconds: took, Asked: st.Asked, Answered: st.Answered,
			Faults: st.Faults}
		if _, err := io.WriteString(v.out, jsonLine(sum)); err != nil {
			return err
		}
		return v.outcome(st)
	}
	line := fmt.Sprintf("%d readings in %.1f s (%.1f a second)", st.Readings, took, float64(st.Readings)/took)
	if st.Asked > 0 {
		line += fmt.Sprintf("; asked %d times, answered %d, the latest after %.1f ms", st.Asked, st.Answered,
			float64(st.AnswerDelay.Microseconds())/1000)
	}
	var bad []string
	for _, reason := range sortedKeys(st.Faults) {
		if n := st.Faults[reason]; n > 0 {
			bad = append(bad, fmt.Sprintf("%s %d", reason, n))
		}
	}
	if len(bad) > 0 {
		line += "; bad frames: " + strings.Join(bad, ", ")
	}
	if _, err := fmt.Fprintln(v.out, line); err != nil {
		return err
	}
	return v.outcome(st)
}

// outcome returns why nothing was shown, or nothing read.
func (v *listenView) outcome(st device.Status) error {
	if v.err != nil {
		return v.err
	}
	if st.Readings == 0 && st.Err != "" {
		return fmt.Errorf("nothing was read: %s", st.Err)
	}
	return nil
}

func sortedKeys(m map[string]uint64) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}
