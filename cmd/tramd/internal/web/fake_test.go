package web

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/http"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep"
	"tramd/sweep/units"
)

// Handler serves the page and the API by one set of options.
func Handler(o Options) http.Handler { return newServer(o).handler() }

// liveFunc is a Live that asks a func, and counts the askings.
type liveFunc struct {
	ask   func() (*api.Snapshot, error)
	asked atomic.Int64
}

func (l *liveFunc) Snapshot(ctx context.Context) (*api.Snapshot, error) {
	l.asked.Add(1)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	return l.ask()
}

func always(s *api.Snapshot) *liveFunc {
	return &liveFunc{ask: func() (*api.Snapshot, error) { return s, nil }}
}

// shop is the store and the steering of the demo workshop, in memory.
type shop struct {
	mu     sync.Mutex
	calls  []string
	err    error  // what every call answers, when set
	csv    string // what a download sends before csvErr
	csvErr error
	runs   []api.Run
	detail func(id int64) any // nil: the id and nothing else
	apart  any                // what Separate answers; nil: an empty answer
}

func (f *shop) note(format string, args ...any) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.calls = append(f.calls, fmt.Sprintf(format, args...))
	return f.err
}

func (f *shop) last() string {
	f.mu.Lock()
	defer f.mu.Unlock()
	if len(f.calls) == 0 {
		return ""
	}
	return f.calls[len(f.calls)-1]
}

// count returns how often a call was made.
func (f *shop) count(call string) (n int) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, c := range f.calls {
		if c == call {
			n++
		}
	}
	return n
}

// first is the call before the first one of that text.
func (f *shop) first(call string) string {
	f.mu.Lock()
	defer f.mu.Unlock()
	if i := slices.Index(f.calls, call); i > 0 {
		return f.calls[i-1]
	}
	return ""
}

// before is the call before the last.
func (f *shop) before() string {
	f.mu.Lock()
	defer f.mu.Unlock()
	if len(f.calls) < 2 {
		return ""
	}
	return f.calls[len(f.calls)-2]
}

func (f *shop) Runs(_ context.Context, before int64, limit int) ([]api.Run, error) {
	return f.runs, f.note("runs %d %d", before, limit)
}

func (f *shop) Run(_ context.Context, id int64) (api.Run, error) {
	if id == 404 {
		return api.Run{}, api.NotFound.Errorf("run %d: not found", id)
	}
	if f.detail != nil {
		return as[api.Run](f.detail(id)), f.note("run %d", id)
	}
	return api.Run{ID: id}, f.note("run %d", id)
}

func (f *shop) WriteReadingsCSV(_ context.Context, id int64, w io.Writer) error {
	if _, err := io.WriteString(w, f.csv); err != nil {
		return err
	}
	_ = f.note("csv %d", id)
	return f.csvErr
}

func (*shop) Events(context.Context, int) ([]api.Event, error) { return []api.Event{}, nil }
func (*shop) UndoEvent(_ context.Context, id int64) error {
	if id != 7 {
		return api.NotFound.New("not found")
	}
	return nil
}

func (f *shop) AddEvent(_ context.Context, e api.NewEvent) (int64, error) {
	if e.Tightened != nil {
		return 5, f.note("event %s %v %.4f to %.4f", e.Kind, e.Moved, e.Tightened.LooseMM, e.Tightened.TightMM)
	}
	if len(e.Moved) > 0 {
		return 5, f.note("event %s %q %d %v", e.Kind, e.Text, e.Run, e.Moved)
	}
	return 5, f.note("event %s %q %d", e.Kind, e.Text, e.Run)
}

func (f *shop) Start(_ context.Context, turns int, purpose string) (int64, error) {
	return 7, f.note("start %d %s", turns, purpose)
}

func (f *shop) Abandon(_ context.Context, run int64) error { return f.note("abandon %d", run) }
func (f *shop) Take(_ context.Context, run int64) error    { return f.note("take %d", run) }

func (f *shop) Skip(_ context.Context, run int64) error { return f.note("skip %d", run) }
func (f *shop) Redo(_ context.Context, run int64, station int) error {
	return f.note("redo %d %d", run, station)
}

func (f *shop) Put(_ context.Context, run int64, indicator, text string) error {
	return f.note("put %d %q %q", run, indicator, text)
}

func (f *shop) StartHalfTurn(_ context.Context, axis string) (int64, error) {
	return 9, f.note("half turn %q", axis)
}

func (f *shop) ForgetPair(context.Context) error { return f.note("forget the pair") }

func (f *shop) Separate(_ context.Context, first, turned int64) (api.Separated, error) {
	if f.apart != nil {
		return as[api.Separated](f.apart), f.note("separate %d %d", first, turned)
	}
	return api.Separated{}, f.note("separate %d %d", first, turned)
}

func (f *shop) Refit(_ context.Context, run int64, keep bool) (api.Refitted, error) {
	again := map[string]any{"run": run, "before": result(0.06, -0.02, 0.008), "now": result(0.0712, -0.0312, 0.009)}
	return as[api.Refitted](again), f.note("refit %d %v", run, keep)
}

func (f *shop) Arm(_ context.Context, unattended time.Duration) (api.Armed, error) {
	return api.Armed{Key: "k", Cautions: []string{"Keep clear of the arm."}, Commands: []string{"G1 A0", "G1 A90"},
		Stop: "M0", AboutS: 12}, f.note("arm %v", unattended)
}

func (f *shop) ArmSteps(_ context.Context, w api.Wanted) (api.Armed, error) {
	return api.Armed{Key: "s", Cautions: []string{"Keep clear of the axis."}, Commands: []string{"G1 X0", "G1 X90"},
		Stop: "M0", AboutS: 12}, f.note("arm %s %s", w.Kind, w.Name)
}

func (f *shop) StartSteps(_ context.Context, key string, w api.Wanted) (int64, error) {
	return 8, f.note("step %q %s %s %s", key, w.Kind, w.Name, w.Purpose)
}

func (f *shop) Set(celsius float64) error { return f.note("at %v", celsius) }

func (f *shop) Disarm(context.Context) error { return f.note("disarm") }

func (f *shop) StartMotion(_ context.Context, key, purpose string) (int64, error) {
	return 8, f.note("start motion %q %s", key, purpose)
}

func (f *shop) Hold(_ context.Context, key string) error { return f.note("hold %q", key) }

func (f *shop) LetGo(_ context.Context, key string) error { return f.note("let go %q", key) }

func (f *shop) HoldMotion(_ context.Context, run int64) error { return f.note("hold %d", run) }

func (f *shop) LetGoMotion(run int64) { _ = f.note("let go %d", run) }

func (f *shop) Import(_ context.Context, csv io.Reader, in api.Recorded) (api.Imported, error) {
	text, err := io.ReadAll(csv)
	if err != nil {
		return api.Imported{}, err
	}
	temperature := "unknown"
	if in.TemperatureC != nil {
		temperature = fmt.Sprint(*in.TemperatureC)
	}
	return api.Imported{Run: 9, Kind: "sweep", Result: json.RawMessage("{}")},
		f.note("import %s %s %s at %s %v %d bytes", in.Name, in.At.Format(time.DateOnly), in.Purpose, temperature,
			in.Again, len(text))
}

// as returns v as the page would read it from an answer of the type T.
func as[T any](v any) (out T) {
	text, err := json.Marshal(v)
	if err == nil {
		err = json.Unmarshal(text, &out)
	}
	if err != nil {
		panic(err)
	}
	return out
}

func ptr[T any](v T) *T { return &v }

func axis(mmPerM, u float64, v sweep.Verdict) *sweep.Axis {
	return &sweep.Axis{Slope: units.Slope(mmPerM) * units.MMPerM, U: units.Slope(u/2) * units.MMPerM,
		Expanded: units.Slope(u) * units.MMPerM, Verdict: v}
}

func result(tilt, nod, u float64) *sweep.Result {
	judge := func(x float64) sweep.Verdict {
		switch limit := 0.0667; {
		case math.Abs(x)+u <= limit:
			return sweep.Within
		case math.Abs(x)-u > limit:
			return sweep.Outside
		}
		return sweep.Undecided
	}
	worst := judge(math.Max(math.Abs(tilt), math.Abs(nod)))
	c := u / 2 * 1e-3
	return &sweep.Result{
		Model: "plain", ModelVersion: 1, Tilt: axis(tilt, u, judge(tilt)), Nod: axis(nod, u, judge(nod)),
		Lean: &sweep.Lean{Slope: units.Slope(math.Hypot(tilt, nod)) * units.MMPerM,
			Azimuth: math.Mod(math.Atan2(nod, tilt)+2*math.Pi, 2*math.Pi)},
		OffsetMM: []float64{1.2}, ClosureMM: 0.001, ResidualRMSMM: 0.002, FormPVMM: math.NaN(),
		Readings: 900, Coverage: 1.75 * math.Pi, CoverageFactor: 2.01, DoF: 38, Verdict: worst,
		Covariance: [2][2]float64{{c * c, 0.4 * c * c}, {0.4 * c * c, c * c}},
	}
}

// linnet is the gantry router of the demo workshop with a sweep three quarters round; t moves it on.
func linnet(t time.Duration) *api.Snapshot {
	s := t.Seconds()
	deg := math.Mod(265+20*s, 360)
	tilt, nod := 0.1786+0.0004*math.Sin(s), -0.0412+0.0004*math.Cos(s)
	sectors := make([]byte, 72)
	for i := range sectors {
		sectors[i] = '0'
		if i*5 <= 265 && i != 20 && i != 21 {
			sectors[i] = '1'
		}
	}
	var curve []api.CurvePoint
	for d := 0; d <= 265; d++ {
		a := sweep.Radians(float64(d))
		wave := 0.002 * math.Sin(7*a+s/3)
		curve = append(curve, api.CurvePoint{Deg: float64(d), MM: 1.2 + 0.12*(tilt*math.Cos(a)+nod*math.Sin(a)) +
			wave})
	}
	return &api.Snapshot{
		At: time.Now(), Machine: "linnet", Limit: 0.0667, LimitAs: "0.02/300",
		Devices: []api.DeviceState{
			{Name: "arm", Role: "indicator", Port: "/dev/serial/by-id/a", State: "live", SinceS: 311, Readings: 18220,
				Faults: map[string]uint64{"text": 3}, ReadingMM: ptr(1.2 + 0.01*math.Sin(3*s)), AgeS: ptr(0.01)},
			{Name: "encoder", Role: "angle", Port: "/dev/serial/by-id/e", State: "live", SinceS: 311, Readings: 40210,
				AgeS: ptr(0.01)},
		},
		Inputs: []api.InputState{{Name: "spindle", State: "off", SinceS: 312},
			{Name: "door", State: "unknown", SinceS: 41, Error: "/sys/class/gpio/gpio5/value says \"in\", not 0 or 1"}},
		Hours: &api.HoursState{Hours: ptr(1234.5), From: "input spindle"},
		Angle: api.AngleState{Source: "encoder", Deg: &deg, AgeS: ptr(0.01)},
		Sweep: api.SweepState{
			Phase: api.PhaseTurning, Run: 12, TurnsWanted: 1, TurnsDone: 0.74, Readings: 900, Sectors: string(sectors),
			Say: "Turn the arm on slowly, past the front, to the right.", Result: result(tilt, nod, 0.0083),
			Curve: curve, Stored: 240,
		},
		Last:  &api.LastRun{Run: 11, At: time.Now().Add(-26 * time.Hour), Result: *result(0.031, -0.012, 0.0079)},
		Store: api.StoreState{OK: true}, Clock: api.ClockState{Set: true},
	}
}

// quietWren is the bench mill at rest: the last check is all there is, one adapter is unplugged, the clock was never
// set.
func quietWren() *api.Snapshot {
	return &api.Snapshot{
		At: time.Now(), Machine: "wren", Limit: 0.0667, LimitAs: "0.02/300",
		Devices: []api.DeviceState{
			{Name: "lever", Role: "indicator", State: "lost", SinceS: 75, Readings: 220, Reconnects: 2,
				Error: "no such device; plug the adapter in again"},
		},
		Angle: api.AngleState{Source: "stations"},
		Sweep: api.SweepState{Phase: api.PhaseIdle, Say: "Plug the indicator in, then start a sweep."},
		Last:  &api.LastRun{Run: 4, At: time.Now().Add(-50 * time.Hour), Result: *result(0.021, 0.0301, 0.0079)},
		Store: api.StoreState{OK: true},
	}
}

// wrenByHand is the bench mill with two of four stations taken.
func wrenByHand() *api.Snapshot {
	s := quietWren()
	s.Devices[0] = api.DeviceState{Name: "lever", Role: "indicator", State: "live", Readings: 500,
		ReadingMM: ptr(-0.034), AgeS: ptr(0.1)}
	s.Angle.Deg = ptr(180.0)
	s.Clock.Set = true
	r := result(0.0614, 0, 0.0105)
	r.Nod, r.Lean, r.Verdict, r.Coverage = nil, nil, sweep.Undecided, math.Pi
	r.Warnings = []sweep.Warning{{Code: "one_axis",
		Text: "two opposite stations show tilt alone; nod was not measured"}}
	s.Sweep = api.SweepState{
		Phase: api.PhaseTurning, Run: 5, TurnsWanted: 1, Readings: 2,
		Say: "Hold still at 180°: the reading is settling.", Stored: 4, Result: r,
		Stations: []api.StationState{
			{Deg: 0, State: "taken", ReadingMM: ptr(0.012)}, {Deg: 90, State: "ahead"}, {Deg: 180, State: "here"},
			{Deg: 270, State: "ahead"},
		},
		Curve: []api.CurvePoint{{Deg: 0, MM: 0.012}, {Deg: 180, MM: -0.034}},
	}
	return s
}

// someRuns has the shape the store's runs have.
func someRuns() []api.Run {
	var out []map[string]any
	for i := 12; i > 6; i-- {
		outcome := "finished"
		if i == 12 {
			outcome = ""
		} else if i == 9 {
			outcome = "abandoned"
		}
		r := map[string]any{"id": i, "kind": "sweep", "purpose": "check", "outcome": outcome, "clock_set": i != 8,
			"started_at": time.Now().Add(-time.Duration(13-i) * 25 * time.Hour)}
		if i != 12 {
			r["result"] = result(0.02*float64(i-7), -0.012, 0.0079)
		}
		out = append(out, r)
	}
	return as[[]api.Run](out)
}
