package device

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"tramd/device/capture"
	"tramd/device/devicetest"
	"tramd/device/frame"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// TestCaptures plays every capture and compares what comes of it with the golden file beside it.
func TestCaptures(t *testing.T) {
	logs, err := filepath.Glob("../testdata/captures/*.log")
	if err != nil || len(logs) == 0 {
		t.Fatalf("no captures: %v", err)
	}
	for _, path := range logs {
		t.Run(filepath.Base(path), func(t *testing.T) {
			spec := Spec{Name: "arm", Role: frame.RoleIndicator}
			if strings.HasPrefix(filepath.Base(path), "encoder") {
				spec = Spec{Name: "spindle", Role: frame.RoleAngle, CountsPerTurn: 4096}
			}
			if own, ok := captureSpecs[filepath.Base(path)]; ok {
				spec = own
				spec.Name, spec.Role = "arm", frame.RoleIndicator
			}
			got := playCapture(t, path, spec)
			golden := strings.TrimSuffix(path, ".log") + ".golden"
			if *update {
				if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(golden)
			if err != nil {
				t.Fatalf("every capture needs a golden: %v", err)
			}
			if diff := cmp.Diff(string(want), got); diff != "" {
				t.Error(diff)
			}
		})
	}
}

// goldenReasons are the reasons of faults in the order of the goldens.
var goldenReasons = []string{
	"garbage", "not_text", "too_long", "bad_number", "bad_unit", "out_of_range", "status", "no_match", "bad_digit",
	"short_frame", "junk", "bad_checksum", "refused", "no_answer", "unasked", "odd_width", "too_close",
}

// captureSpecs are those of captures that are neither text nor an encoder's.
var captureSpecs = map[string]Spec{
	"pattern_columns.log": {Frame: frame.FramePattern, Pattern: &frame.Pattern{
		Form: "{channel:2}{flag:1}{value:8}{unit:2}", GoodFlags: []string{"N"},
		Units: map[string]string{"MM": "mm", "IN": "in"},
	}},
	"digits_gap.log": {Frame: frame.FrameDigits, Digits: &frame.Digits{
		Map: "FF s dddddd p u .", Plus: []int{0}, Minus: []int{8}, Units: map[string]string{"0": "mm", "1": "in"},
		GapMS: 20,
	}},
	"digits_sync.log": {Frame: frame.FrameDigits, Digits: &frame.Digits{
		Map: "FF s dddddd p u .", Plus: []int{0}, Minus: []int{8}, Units: map[string]string{"0": "mm", "1": "in"},
	}},
	"binary_channels.log": {Frame: frame.FrameBinary, Binary: &frame.Binary{
		Layout: "AA 55 ch value check", Bits: 24, Order: "low_first", Scale: "0.001 mm", Check: "xor",
	}},
	"binary_bare.log": {Frame: frame.FrameBinary, Binary: &frame.Binary{Layout: "A5 value", Bits: 16,
		Order: "high_first", Scale: "0.001 mm"}},
	"modbus_two.log": {Frame: frame.FrameModbus, Registers: []frame.Register{
		{Address: 1, Register: 16, Type: "float32", Scale: "1 mm", Channel: "front"},
		{Address: 2, Function: 4, Type: "int16", Scale: "0.001 mm", Channel: "back"},
	}},
	"asked_text.log": {Asking: Asking{
		Asks: []frame.Ask{{Request: "A\r", Channel: "left"}, {Request: "B\r", Channel: "right"}}}},
}

func playCapture(t *testing.T, path string, spec Spec) string {
	var out strings.Builder
	spec.Port, spec.ReplayFast = "replay:"+path, true
	d, err := New(0, spec, func(b Batch) {
		for _, s := range b.Samples {
			fmt.Fprintf(&out, "%d ns %s %d %q\n", s.At, map[frame.Kind]string{frame.Length: "length_nm",
				frame.Count: "count", frame.Angle: "angle_1e-6_deg"}[s.Kind], s.Value, s.Channel)
		}
	}, nil)
	if err != nil {
		t.Fatal(err)
	}
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := d.play(context.Background(), f, 0); !errors.Is(err, io.EOF) {
		t.Fatal(err)
	}
	st := d.Status()
	for _, reason := range goldenReasons {
		if n := st.Faults[reason]; n > 0 {
			fmt.Fprintf(&out, "fault %s %d\n", reason, n)
		}
		delete(st.Faults, reason)
	}
	if len(st.Faults) > 0 {
		t.Errorf("reasons that no golden would show: %v", st.Faults)
	}
	fmt.Fprintf(&out, "readings %d, reconnects %d, at the end %s\n", st.Readings, st.Reconnects, st.State)
	return out.String()
}

func TestReplayOfATruncatedCapture(t *testing.T) {
	path := filepath.Join(t.TempDir(), "cut.log")
	if err := os.WriteFile(path, []byte(
		"# tramd capture 1\n0 clean \"\"\n40000000 data \"1.5\\n\"\n80000000 data \"2.5\\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	begin := Now()
	r := start(t, Spec{Port: "replay:" + path})
	<-r.Ended()
	if took := time.Duration(Now() - begin); took < 40*time.Millisecond {
		t.Errorf("played in %v, faster than it was recorded", took)
	}
	st := r.Status()
	if st.Readings != 1 || st.State != StateLost || !strings.Contains(st.Err, "line 4: the line is not finished") {
		t.Errorf("status %+v; want one reading and the line of the damage", st)
	}
}

func TestReplayOfNothing(t *testing.T) {
	r := start(t, Spec{Port: "replay:" + filepath.Join(t.TempDir(), "none")})
	<-r.Ended()
	if st := r.Status(); st.State != StateAbsent || !strings.Contains(st.Err, "cannot open the capture") {
		t.Errorf("status %+v", st)
	}
}

func TestFastReplayIsStampedInThePast(t *testing.T) {
	begin := Now()
	r := start(t, Spec{Port: "replay:../testdata/captures/text_unplugged.log", ReplayFast: true})
	<-r.Ended()
	got := r.all()
	if len(got) != 2 || got[1].At-got[0].At != Stamp(2049*time.Millisecond) || got[1].At < begin || got[1].At > Now() {
		t.Errorf("got %v; want two readings 2.049 s apart, the last between %d and now", got, begin)
	}
}

// TestRecordThenReplay records a port, plays the capture and wants the same samples at the same distances.
func TestRecordThenReplay(t *testing.T) {
	path := filepath.Join(t.TempDir(), "rec.log")
	var live []Sample
	for part := range 2 { // the second part continues the file
		l, spec := openLine(t, path)
		r := start(t, spec)
		r.wait(t, StateSettling)
		for i := range 50 {
			l.Write([]byte("arm: 0"))
			l.Write(fmt.Appendf(nil, ".%03d mm\r\n\xff\x00\"\n", 100*part+i))
			time.Sleep(time.Millisecond)
		}
		// The first line is dropped, as any first line is.
		wait(t, "all lines", func() bool { st := r.Status(); return st.Readings == 49 && st.Faults["not_text"] == 50 })
		r.stop()
		live = append(live, r.all()...)
		if part == 0 { // a power cut in the middle of a record
			f, err := os.OpenFile(path, os.O_WRONLY|os.O_APPEND, 0)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := f.WriteString(`99999999999 data "0.9`); err != nil {
				t.Fatal(err)
			}
			f.Close()
		}
	}
	r := start(t, Spec{Port: "replay:" + path, ReplayFast: true})
	<-r.Ended()
	got := r.all()
	if len(got) != len(live) || len(got) < 2 {
		t.Fatalf("%d samples replayed, %d live: %s", len(got), len(live), r.Status().Err)
	}
	for i := range got {
		if got[i].Value != live[i].Value || got[i].Channel != live[i].Channel {
			t.Errorf("sample %d: %v replayed, %v live", i, got[i], live[i])
		}
	}
	for i := 1; i < len(got)/2; i++ {
		if a, b := got[i].At-got[i-1].At, live[i].At-live[i-1].At; a != b {
			t.Errorf("sample %d came %d ns after the one before, live %d", i, a, b)
		}
	}
}

func TestRecorderRefusesAnotherFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "notes.txt")
	if err := os.WriteFile(path, []byte("precious\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	l, spec := openLine(t, path)
	r := start(t, spec)
	r.wait(t, StateSettling)
	l.Write([]byte("x\n0.5\n"))
	r.wait(t, StateLive) // the measurement does not depend on its recording
	r.stop()
	if text, err := os.ReadFile(path); err != nil || string(text) != "precious\n" {
		t.Errorf("the file now holds %q, %v", text, err)
	}
	if !strings.Contains(r.log.String(), "is not a capture: name another file") {
		t.Errorf("nothing was said:\n%s", r.log.String())
	}
}

// /dev/full refuses every write as a full disk does. It is no capture, so the recorder is made by hand around it.
func TestFullDiskEndsTheCaptureOnly(t *testing.T) {
	full, err := os.OpenFile("/dev/full", os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	rec := capture.New(full, Now())
	l, spec := openLine(t, "")
	r := &running{}
	spec.Name, spec.Role = "arm", frame.RoleIndicator
	d, err := New(0, spec, r.kept.sink, slog.New(slog.NewTextHandler(&r.log, nil)))
	if err != nil {
		t.Fatal(err)
	}
	d.lockDir, d.quiet, d.rec = t.TempDir(), time.Hour, rec
	r.Device = d
	r.run(t)
	r.wait(t, StateSettling)
	l.Write([]byte("x\n"))
	for i := range 20 {
		l.Write([]byte("0.5\n"))
		wait(t, "the reading", func() bool { return r.Status().Readings == uint64(i+1) })
	}
	r.stop()
	if n := strings.Count(r.log.String(), "the capture has stopped, reading goes on"); n != 1 {
		t.Errorf("said %d times that the capture stopped, want once:\n%s", n, r.log.String())
	}
	if err := rec.Close(); !errors.Is(err, syscall.ENOSPC) {
		t.Errorf("Close: %v, want the failed write", err)
	}
}

func openLine(t testing.TB, capture string) (*devicetest.Line, Spec) {
	l := devicetest.Open(t)
	return l, Spec{Port: l.Path, Capture: capture}
}
