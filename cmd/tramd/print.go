package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"

	"tramd/sweep"
	"tramd/sweep/finish"
	"tramd/sweep/units"
)

// printJSON writes a result as one line, with what it belongs to in front.
func printJSON(w io.Writer, key string, value, r any) error {
	body, err := json.Marshal(r)
	if err != nil {
		return err
	}
	v, err := json.Marshal(value)
	if err != nil {
		return err
	}
	var line bytes.Buffer
	fmt.Fprintf(&line, "{%q:%s,%s\n", key, v, body[1:])
	_, err = w.Write(line.Bytes())
	return err
}

// printResult writes a result for a person.
func printResult(w io.Writer, title string, r sweep.Result, tol units.Tolerance) error {
	var b strings.Builder
	fmt.Fprintln(&b, title)
	if l := r.SizeOnly(); l != nil {
		fmt.Fprintf(&b, "  lean  %8.4f mm/m ± %.4f (95 %%), %s\n", l.Slope.MMPerM(), l.Expanded.MMPerM(), l.Direction())
	} else {
		axis(&b, "tilt", r.Tilt, "right", "left")
		axis(&b, "nod", r.Nod, "back", "front")
		if l := r.Lean; l != nil {
			fmt.Fprintf(&b, "  lean  %8.4f mm/m, %s\n", l.Slope.MMPerM(), l.Direction())
		}
	}
	if p := r.Pair; p != nil {
		fmt.Fprintf(&b, "  pair  %s less %s reads %.4f mm at no lean (u %.4f mm)\n", p.Indicator, p.Less,
			p.ZeroMM, p.UMM)
	}
	fmt.Fprintf(&b, "  %d readings over %.0f°", r.Readings, sweep.Degrees(r.Coverage))
	if r.Rejected > 0 {
		fmt.Fprintf(&b, ", %d rejected", r.Rejected)
	}
	for _, x := range []struct {
		name string
		mm   float64
	}{{"closure", r.ClosureMM}, {"residual", r.ResidualRMSMM}, {"form", r.FormPVMM}} {
		if !math.IsNaN(x.mm) {
			fmt.Fprintf(&b, ", %s %.4f mm", x.name, x.mm)
		}
	}
	fmt.Fprintln(&b)
	for _, x := range r.Rejections {
		fmt.Fprintf(&b, "  left out: %s\n", rejected(x))
	}
	if tol.Given() {
		fmt.Fprintf(&b, "  limit %8.4f mm/m (%s): %s", tol.Limit.MMPerM(), tol, r.Verdict)
		if r.Conformity != nil {
			fmt.Fprintf(&b, " (probability that both axes conform: %.4f)", *r.Conformity)
		}
		fmt.Fprintln(&b)
	}
	for _, n := range r.Warnings {
		fmt.Fprintf(&b, "  note: %s [%s]\n", n.Text, n.Code)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func axis(b *strings.Builder, name string, a *sweep.Axis, plus, minus string) {
	if a == nil {
		fmt.Fprintf(b, "  %-5s not measured\n", name)
		return
	}
	way := plus
	if a.Slope < 0 {
		way = minus
	}
	fmt.Fprintf(b, "  %-5s %+8.4f mm/m ± %.4f (95 %%), upper end to the %s", name, a.Slope.MMPerM(),
		a.Expanded.MMPerM(), way)
	if a.Verdict != sweep.None {
		fmt.Fprintf(b, ": %s", a.Verdict)
	}
	fmt.Fprintln(b)
}

// printFinish says what the lean leaves on the work with each cutter.
func printFinish(w io.Writer, cutters []finish.Cutter, r sweep.Result) error {
	for _, c := range cutters {
		rep, ok := finish.Weigh(c, r.Tilt, r.Nod)
		if !ok {
			continue
		}
		if _, err := fmt.Fprintf(w, "  %s\n", rep.Say); err != nil {
			return err
		}
	}
	return nil
}
