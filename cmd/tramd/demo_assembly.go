package main

import (
	"context"
	"fmt"
	"math"
	"strconv"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/assembly"
	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/session"
	"tramd/cmd/tramd/internal/sim"
	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/stack"
)

// demoFigure is one number of the demo's assembly beside its truth.
type demoFigure struct {
	Run    int64   `json:"run,omitempty"`
	Name   string  `json:"name"`
	Value  float64 `json:"value"`
	U      float64 `json:"U"`
	Truth  float64 `json:"truth"`
	Agrees bool    `json:"agrees"`
}

// What the demo believes one mm at the rail's and the plate's bolts does, mm/m: 1000/400 and 1000/160.
const demoRail, demoPlate = 1000.0 / 400, 1000.0 / 160

// demoAssemblyConfig is how linnet's configuration describes what carries its spindle.
const demoAssemblyConfig = `
[[adjuster]]
name = "rail bolts"
nod_mm_per_m = 2.5
[[adjuster]]
name = "plate bolts"
nod_mm_per_m = 6.25
[[traverse]]
name = "left-rail"
joint = "rails"
axis = "nod"
positions_mm = [0, 80, 160, 240, 320, 400]
tolerance = "0.03/300"
straightness_mm = 0.02
resolution_mm = 0.001
adjusters = ["rail bolts"]
[[traverse]]
name = "plate"
joint = "carriage plate"
axis = "nod"
positions_mm = [0, 60, 120, 180]
lines_mm = [0, 160]
tolerance = "0.05/300"
resolution_mm = 0.001
adjusters = ["plate bolts"]
[[bar]]
name = "shank"
heights_mm = [10, 35]
travel_mm = [0, 40, 80, 120]
tolerance = "0.1/300"
run_out_mm = 0.03
resolution_mm = 0.001
[[square]]
name = "cylinder-square"
travel_mm = [0, 40, 80, 120]
resolution_mm = 0.001
`

// demoAssembly trues what carries the simulated spindle: readings are typed, as off a plain dial.
type demoAssembly struct {
	*demoPerson
	sim     *sim.Assembly
	figures []demoFigure
	closed  bool // the chain was added up
	quick   bool // a last sweep as a check would take too long
}

// measure takes a measurement of the configuration through the daemon.
func (d *demoAssembly) measure(ctx context.Context, kind, name string, read func(p session.Place) float64) (
	assembly.Result, int64, error) {
	fail := func(err error) (assembly.Result, int64, error) { return assembly.Result{}, 0, err }
	plan, err := assembly.Plan(d.m.cfg, assembly.Wanted{Kind: kind, Name: name, Typed: true})
	if err != nil {
		return fail(err)
	}
	var id int64
	err = d.whenFree(ctx, func() (err error) {
		id, err = d.m.client.StartMeasurement(ctx, kind, name, "check", true, nil)
		return err
	})
	if err != nil {
		return fail(err)
	}
	for _, p := range plan.Places {
		if err := d.m.client.PutReading(ctx, id, strconv.FormatFloat(read(p), 'f', 4, 64)+" mm"); err != nil {
			return fail(err)
		}
	}
	run, err := endedRun(ctx, d.m.client, id)
	if err != nil {
		return fail(err)
	}
	if run.Outcome != store.Finished || run.Raw == nil {
		return fail(fmt.Errorf("run %d %s: %s", id, run.Outcome, run.Why))
	}
	r, err := assembly.Decode(run.Kind, run.Raw)
	return r, id, err
}

// keepFigure prints a number beside its truth, and keeps it for the end.
func (d *demoAssembly) keepFigure(run int64, what string, f api.Figure, truth float64) {
	x := demoFigure{Run: run, Name: what + ", " + f.Name, Value: f.Value, U: f.U, Truth: truth,
		Agrees: math.Abs(f.Value-truth) <= 3*f.U}
	d.figures = append(d.figures, x)
	text := fmt.Sprintf("run %d  %s: %s, truth %.4f", run, what, f, truth)
	if f.Verdict != sweep.None {
		text += " · " + string(f.Verdict)
	}
	fmt.Fprintln(d.e.err, text)
}

// figure returns one number of a result by its name.
func figureOf(figures []api.Figure, name string) (api.Figure, bool) {
	for _, f := range figures {
		if f.Name == name {
			return f, true
		}
	}
	return api.Figure{}, false
}

// below trues rail and plate, each measured, moved and measured again, and looks at the shank.
func (d *demoAssembly) below(ctx context.Context) error {
	for _, j := range []struct {
		name, figure, bolts string
		perMM               float64
		read                func(p session.Place) float64
		truth               *float64
	}{
		{"left-rail", "slope", "rail bolts", demoRail, func(p session.Place) float64 { return d.sim.Rail(p.At) },
			&d.sim.RailMMPerM},
		{"plate", "twist", "plate bolts", demoPlate, func(p session.Place) float64 {
			return d.sim.Plate(p.At, p.Numbers["line_mm"])
		}, &d.sim.TwistMMPerM},
	} {
		for try := 0; ; try++ {
			r, run, err := d.measure(ctx, sweep.KindTraverse, j.name, j.read)
			if err != nil {
				return err
			}
			f, ok := figureOf(r.Figures(), j.figure)
			if !ok {
				return fmt.Errorf("run %d has no %s", run, j.figure)
			}
			d.keepFigure(run, j.name, f, *j.truth)
			if try > 0 {
				break
			}
			by := math.Round(-100*f.Value/j.perMM) / 100
			text := fmt.Sprintf("move the %s by %+.2f mm", j.bolts, by)
			fmt.Fprintln(d.e.err, text)
			*j.truth += by * j.perMM
			if err := d.m.client.LogEvent(ctx, "adjusted", text, map[string]float64{j.bolts: by}); err != nil {
				return err
			}
			time.Sleep(time.Millisecond) // the event comes before the next run
		}
	}
	r, run, err := d.measure(ctx, sweep.KindBar, "shank", func(p session.Place) float64 {
		return d.sim.Shank(p.Numbers["height_mm"], p.Deg)
	})
	if err != nil {
		return err
	}
	if f, ok := figureOf(r.Figures(), "run-out at 35 mm"); ok {
		e := math.Hypot(d.sim.Beside+d.sim.Bar.TiltMMPerM*0.035, d.sim.Bar.NodMMPerM*0.035)
		d.keepFigure(run, "shank", f, 2*e)
	}
	return nil
}

// close measures how the head travels once the spindle is square, and adds all relations up.
func (d *demoAssembly) close(ctx context.Context) error {
	d.closed = true
	if !d.quick { // so that there are three sides to a chain that must close
		run, err := d.sweep(ctx, "check")
		if err != nil || run.Result == nil {
			return err
		}
		d.keep(run)
	}
	spindle := d.m.machine.Truth()
	truths := map[string]sim.Truth{stack.TravelToTable: d.sim.Travel,
		stack.SpindleToTravel: {TiltMMPerM: spindle.TiltMMPerM - d.sim.Travel.TiltMMPerM,
			NodMMPerM: spindle.NodMMPerM - d.sim.Travel.NodMMPerM}}
	for _, x := range []struct {
		name, relation string
		read           func(p session.Place) float64
	}{
		{"cylinder-square", stack.TravelToTable, func(p session.Place) float64 {
			return d.sim.AlongSquare(p.At, p.Numbers["side_deg"], p.Numbers["turned_deg"] == 180)
		}},
		{"shank", stack.SpindleToTravel, func(p session.Place) float64 {
			return d.sim.AlongShank(p.At, p.Numbers["side_deg"], p.Numbers["turned_deg"] == 180, spindle)
		}},
	} {
		r, run, err := d.measure(ctx, sweep.KindTravel, x.name, x.read)
		if err != nil {
			return err
		}
		truth := truths[x.relation]
		if f, ok := figureOf(r.Figures(), config.AxisTilt); ok {
			d.keepFigure(run, stack.Words(x.relation), f, truth.TiltMMPerM)
		}
		if f, ok := figureOf(r.Figures(), config.AxisNod); ok {
			d.keepFigure(run, stack.Words(x.relation), f, truth.NodMMPerM)
		}
	}
	rec, err := store.OpenReadOnly(ctx, d.m.cfg.Store.Path, store.Options{Log: d.e.log})
	if err != nil {
		return err
	}
	defer rec.Close()
	job, err := assembly.JobOf(ctx, rec, d.m.cfg)
	if err != nil {
		return err
	}
	return printJob(d.e.err, job)
}
