package session

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/device"
	"tramd/device/devicetest"
	"tramd/device/frame"
	"tramd/sweep"
)

// taggedCase is one row of BenchmarkTagged.
type taggedCase struct {
	name   string
	kind   string // of spoken
	rate   int    // frames a second; of an instrument that is asked, questions a second at most
	beside int    // as for instruments
	of     taggedOf
}

// taggedOf says of which frames the time is taken.
type taggedOf int

const (
	ofReadings taggedOf = iota
	ofCounts            // the encoder's lines
	ofPulses            // the index pulses of constant turning
)

// benchPulses is how many index pulses come a second. Two within 30 ms are one, and a busy machine reads late.
const benchPulses = 10

var taggedCases = []taggedCase{
	{"text/100", "text", 100, 1000, ofReadings}, {"text/1000", "text", 1000, 1000, ofReadings},
	{"pattern/100", "pattern", 100, 1000, ofReadings}, {"pattern/1000", "pattern", 1000, 1000, ofReadings},
	{"digits/100", "digits", 100, 1000, ofReadings}, {"digits/1000", "digits", 1000, 1000, ofReadings},
	{"binary_crc16/100", "binary_crc16", 100, 1000, ofReadings}, {"binary_crc16/1000", "binary_crc16", 1000, 1000,
		ofReadings},
	{"binary_bare/100", "binary_bare", 100, 1000, ofReadings},
	{"binary_bare/1000", "binary_bare", 1000, 1000, ofReadings},
	{"binary_gap/100", "binary_gap", 100, 1000, ofReadings},
	{"text_asked/100", "text_asked", 100, 1000, ofReadings}, {"text_asked/most", "text_asked", 1000, 1000, ofReadings},
	{"modbus/100", "modbus", 100, 1000, ofReadings}, {"modbus/most", "modbus", 1000, 1000, ofReadings},
	{"encoder/100", "text", 1000, 100, ofCounts}, {"encoder/1000", "text", 1000, 1000, ofCounts},
	{"steady_text/100", "text", 100, -benchPulses, ofReadings}, {"steady_text/1000", "text", 1000, -benchPulses,
		ofReadings},
	{"steady_pulse/10", "text", 1000, -benchPulses, ofPulses},
}

// BenchmarkTagged measures a sweep over two real lines, for each kind of frame: from the last byte of a frame to the
// moment at which its point, with its angle, is in the published lean. A reading waits for the encoder's next line,
// which is in the first figures; the second begin with the last byte that the point needs. Under constant turning
// nothing is waited for: a reading is kept without an angle, which the fit works out, and the point of a pulse has that
// of the mark. The ports are read at every line, as while a program moves the arm; in a sweep by hand lines wait up to
// sweepLatency where nothing looks. It ends with a table of all.
func BenchmarkTagged(b *testing.B) {
	load, err := os.ReadFile("/proc/loadavg")
	if err != nil {
		b.Fatal(err)
	}
	var rows []string
	for _, tc := range taggedCases {
		b.Run(tc.name, func(b *testing.B) {
			for b.Loop() {
				rows = append(rows, benchTagged(b, tc).report(b, tc.name))
			}
		})
	}
	fmt.Printf("\nLoad average before the start: %s. Times in milliseconds.\n\n", strings.Fields(string(load))[0])
	fmt.Println(
		"| frame, how many a second | measured | a second | median | 99th percentile | from the last byte needed, median | 99th percentile | not tagged | instruments late, 99th percentile | CPU % |")
	fmt.Println("|---|---|---|---|---|---|---|---|---|---|")
	fmt.Println(strings.Join(rows, "\n"))
}

// taggedTimes is what one run gave, in nanoseconds.
type taggedTimes struct {
	whole, own []int64 // from the frame's last byte, and from the last byte that its point needs
	// readings whose point has no angle, as the encoder was silent too long; pulses taken for one with another
	bare       int
	perSecond  float64
	lateP99    int64
	cpuPercent float64
}

func (x taggedTimes) report(b *testing.B, name string) string {
	row := fmt.Sprintf("| %s | %d | %.0f ", name, len(x.whole), x.perSecond)
	for _, list := range []struct {
		name  string
		times []int64
	}{{"", x.whole}, {"own-", x.own}} {
		slices.Sort(list.times)
		median, p99 := list.times[len(list.times)/2], list.times[len(list.times)*99/100]
		b.ReportMetric(float64(median)/1e3, list.name+"median-µs")
		b.ReportMetric(float64(p99)/1e3, list.name+"p99-µs")
		row += fmt.Sprintf("| %.2f | %.2f ", float64(median)/1e6, float64(p99)/1e6)
	}
	// above the reader's own, the machine was too busy to tell
	b.ReportMetric(float64(x.lateP99)/1e3, "instruments-late-p99-µs")
	b.ReportMetric(x.cpuPercent, "cpu-%")
	b.ReportMetric(x.perSecond, "frames/s")
	b.ReportMetric(float64(x.bare), "not-tagged")
	return row + fmt.Sprintf("| %d | %.2f | %.1f |", x.bare, float64(x.lateP99)/1e6, x.cpuPercent)
}

// benchTail is before the last line beside: what is sent later may find none after it.
const benchTail = int64(100 * time.Millisecond)

func benchTagged(b *testing.B, tc taggedCase) taggedTimes {
	// The 99th percentile is to rest on a thousand frames, where that does not take too long.
	length := 10 * time.Second
	switch {
	case tc.of == ofPulses:
		length = 20 * time.Second
	case tc.of == ofReadings && tc.rate >= 1000, tc.of == ofCounts && tc.beside >= 1000:
		length = 4 * time.Second
	}
	r := newTaggedRig(b, tc)
	end := r.instruments(b, tc)
	for _, d := range r.devices {
		until(b, func() bool { return d.Status().State == device.StateLive })
	}
	if _, err := r.s.Start(r.ctx, sweep.MaxTurns, "check"); err != nil {
		b.Fatal(err)
	}
	before := cpu(b)
	time.Sleep(length)
	used := cpu(b) - before
	told := end()
	r.drain()
	r.stop() // the run ends as abandoned, all its points on the shelf

	if len(r.shelf.ends) != 1 || r.shelf.ends[0].Outcome != api.Abandoned {
		b.Errorf("the sweep ended by itself: %+v", r.shelf.ends)
	}
	if len(r.seen) == 0 || len(r.seen) > len(r.shelf.points) {
		b.Fatalf("%d points published, %d kept", len(r.seen), len(r.shelf.points))
	}
	var x taggedTimes
	var sent []int64 // of the frames that were measured
	switch tc.of {
	case ofReadings, ofCounts:
		x, sent = r.readings(b, tc, told)
	case ofPulses:
		x, sent = r.pulses(b, told)
	}
	if len(sent) < 2 {
		b.Fatalf("nothing was measured, %d frames were not tagged", x.bare)
	}
	span := float64(sent[len(sent)-1]-sent[0]) / 1e9
	if span < 0.8*length.Seconds() {
		b.Errorf("only %.1f s of %v were measured", span, length)
	}
	x.perSecond = float64(len(sent)-1) / span
	x.lateP99 = told.LateP99
	x.cpuPercent = 100 * used.Seconds() / length.Seconds()
	return x
}

// taggedRig is a session that reads two lines.
type taggedRig struct {
	s       *Session
	shelf   *shelf
	lines   [2]*devicetest.Line
	devices []*device.Device
	seen    []int64 // when each point was first published; under the session's lock
	ctx     context.Context
	stop    func() // waits until all has ended
}

func newTaggedRig(b *testing.B, tc taggedCase) *taggedRig {
	r := &taggedRig{shelf: &shelf{}, lines: [2]*devicetest.Line{devicetest.Open(b), devicetest.Open(b)},
		seen: make([]int64, 0, 32<<10)}
	arm := spoken[tc.kind].spec
	arm.Name, arm.Role, arm.Port, arm.Baud = "arm", frame.RoleIndicator, r.lines[0].Path, 921600
	if spoken[tc.kind].question > 0 {
		arm.Asking.Every = time.Second / time.Duration(tc.rate)
	}
	beside := device.Spec{Name: "encoder", Role: frame.RoleAngle, Port: r.lines[1].Path, Baud: 921600,
		CountsPerTurn: benchCounts}
	if tc.beside < 0 {
		beside.Frame, beside.CountsPerTurn = frame.FramePulse, 0
	}
	var ports []Port
	for i, spec := range []device.Spec{arm, beside} {
		d, err := device.New(i, spec, func(x device.Batch) { r.s.Sink(x) }, nil)
		if err != nil {
			b.Fatal(err)
		}
		r.devices = append(r.devices, d)
		ports = append(ports, Port{Name: spec.Name, Path: spec.Port, Status: d.Status})
	}
	o := benchOptions(ports, r.shelf)
	if tc.beside < 0 {
		turning := &sweep.Steady{TurnsPerMin: benchPulses * 60}
		o.Setup.AngleSource, o.Setup.Steady = sweep.SourceSteady, turning
		o.Angle = AngleRoute{Device: 1, Steady: turning}
	}
	var err error
	if r.s, err = New(o); err != nil {
		b.Fatal(err)
	}
	r.s.onPoints = func(n int) {
		for now := monotonic(); len(r.seen) < n; {
			r.seen = append(r.seen, now)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	b.Cleanup(cancel) // where it goes wrong, the next row is not to suffer
	r.ctx = ctx
	ended := make(chan struct{}, 3)
	go func() { _ = r.s.Run(ctx); ended <- struct{}{} }()
	for _, d := range r.devices {
		go func() { _ = d.Run(ctx); ended <- struct{}{} }() // its errors are in Status
	}
	r.stop = func() {
		cancel()
		for range 3 {
			<-ended
		}
	}
	for _, d := range r.devices {
		until(b, func() bool { return d.Status().State == device.StateSettling })
	}
	return r
}

// instruments begin to speak. What is given back ends them, and says what they said.
func (r *taggedRig) instruments(b *testing.B, tc taggedCase) func() said {
	cmd := exec.CommandContext(b.Context(), os.Args[0])
	cmd.Env = append(os.Environ(), fmt.Sprintf("%s=%s %d %d", instrumentsEnv, tc.kind, tc.rate, tc.beside))
	cmd.ExtraFiles = []*os.File{r.lines[0].Far(), r.lines[1].Far()}
	cmd.Stderr = os.Stderr
	in, err := cmd.StdinPipe()
	if err != nil {
		b.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		b.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		b.Fatal(err)
	}
	return func() said {
		in.Close()
		var x said
		err := json.NewDecoder(out).Decode(&x)
		if e := cmd.Wait(); err != nil || e != nil {
			b.Fatalf("instruments: %v, %v", err, e)
		}
		return x
	}
}

// drain waits until nothing more is published: on a busy machine the last come late.
func (r *taggedRig) drain() {
	for n := -1; ; time.Sleep(300 * time.Millisecond) {
		var now int
		r.s.locked(func() { now = len(r.seen) })
		if now == n {
			return
		}
		n = now
	}
}

// readings gives the times of the readings, or of the encoder's lines that placed them. Each reading says its number.
func (r *taggedRig) readings(b *testing.B, tc taggedCase, told said) (x taggedTimes, sent []int64) {
	steady := tc.beside < 0
	got := make([]bool, len(told.Frames))
	placed := map[int]int64{} // by line of the encoder: when the last point that waited for it was there
	first, over := -1, told.Beside[len(told.Beside)-1]-benchTail
	for k, at := range r.seen {
		p := r.shelf.points[k]
		known := !math.IsNaN(p.Angle)
		if steady && known { // a mark
			continue
		}
		i := int(math.Round(p.Reading * 1000))
		if i < 0 || i >= len(got) || got[i] {
			b.Fatalf("reading %v was never sent, or came twice", p.Reading)
		}
		got[i] = true
		if first < 0 {
			first = i
		}
		if !steady && !known {
			if told.Frames[i] < over {
				x.bare++
			}
			continue
		}
		needed := told.Frames[i]
		if c, _ := slices.BinarySearch(told.Beside, needed); !steady && c < len(told.Beside) && told.Beside[c] <= at {
			needed = told.Beside[c]
			placed[c] = max(placed[c], at)
		}
		if tc.of == ofReadings {
			x.whole, x.own = append(x.whole, at-told.Frames[i]), append(x.own, at-needed)
			sent = append(sent, told.Frames[i])
		}
	}
	lost := 0
	for i := max(first, 0); i < len(got); i++ {
		if !got[i] && told.Frames[i] < over {
			lost++
		}
	}
	if lost > 0 {
		b.Errorf("%d readings of %d were lost", lost, len(got)-max(first, 0))
	}
	b.ReportMetric(float64(lost), "lost")
	for c, at := range told.Beside {
		if t, ok := placed[c]; ok && tc.of == ofCounts {
			x.whole, x.own = append(x.whole, t-at), append(x.own, t-at)
			sent = append(sent, at)
		}
	}
	return x, sent
}

// pulses gives the times of the index pulses. They bear no number: the pulse of a mark is the first that was sent after
// the mark before, so none is taken for quicker than it was. Two that were read together, or soon one after the other,
// are one.
func (r *taggedRig) pulses(b *testing.B, told said) (x taggedTimes, sent []int64) {
	var before int64
	first, last := 0, 0
	for k, at := range r.seen {
		if math.IsNaN(r.shelf.points[k].Angle) {
			continue
		}
		if before > 0 {
			last, _ = slices.BinarySearch(told.Beside, before)
			if last == len(told.Beside) || told.Beside[last] > at {
				b.Fatalf("the mark at %d ns was there before its pulse", at)
			}
			x.whole, x.own = append(x.whole, at-told.Beside[last]), append(x.own, at-told.Beside[last])
			sent = append(sent, told.Beside[last])
			if len(sent) == 1 {
				first = last
			}
		}
		before = at
	}
	x.bare = last - first + 1 - len(sent)
	return x, sent
}

func until(b *testing.B, ok func() bool) {
	b.Helper()
	for range 1000 {
		if ok() {
			return
		}
		time.Sleep(5 * time.Millisecond)
	}
	b.Fatal("a device did not come to life within 5 s")
}
