package main

import (
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"

	"tramd/sweep"
)

// printBudget writes where the uncertainty of each axis comes from, after the GUM.
func printBudget(w io.Writer, r sweep.Result) error {
	for _, x := range []struct {
		name string
		a    *sweep.Axis
	}{{"tilt", r.Tilt}, {"nod", r.Nod}} {
		if x.a == nil {
			continue
		}
		if x.a.Budget == nil {
			fmt.Fprintf(w, "%s: this result (%s %d) keeps no budget; see `tramd refit`\n", x.name, r.Model,
				r.ModelVersion)
			continue
		}
		fmt.Fprintf(
			w, "\n%s %+.4f mm/m, standard uncertainty %.4f, expanded %.4f mm/m (k = %.2f, %s degrees of freedom)\n",
			x.name, x.a.Slope.MMPerM(), x.a.U.MMPerM(), x.a.Expanded.MMPerM(), r.CoverageFactor, freedom(r.DoF))
		t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
		fmt.Fprintln(t, "component\ttype\tu\tunit\tsensitivity\tdof\tmm/m\tshare\tfrom")
		for i, c := range x.a.Budget {
			fmt.Fprintf(t, "%s\t%s\t%.3g\t%s\t%.3g\t%s\t%.4f\t%.0f %%\t%s\n", c.Name, c.Type, c.U, c.Unit,
				c.Sensitivity, freedom(c.DoF),
				c.Contribution(), 100*x.a.Budget.Share(i), c.Note)
		}
		if err := t.Flush(); err != nil {
			return err
		}
	}
	return nil
}

func freedom(dof float64) string {
	if math.IsInf(dof, 0) || math.IsNaN(dof) {
		return "∞"
	}
	if dof < 1 {
		return "<1"
	}
	return strings.TrimSuffix(fmt.Sprintf("%.1f", dof), ".0")
}

// rejected says in one line what was left out, where and why.
func rejected(x sweep.Rejection) string {
	readings := "1 reading"
	if x.Readings != 1 {
		readings = fmt.Sprintf("%d readings", x.Readings)
	}
	return fmt.Sprintf("%s%s (%.2f s to %.2f s): %s", readings, place(x), x.FromS, x.ToS,
		strings.ReplaceAll(x.Code, "_", " "))
}

// place returns the spindle angles at which that was; nothing where they are not known.
func place(x sweep.Rejection) string {
	within := func(deg float64) float64 { return math.Mod(math.Mod(deg, 360)+360, 360) }
	switch {
	case x.Code == "no_angle":
		return ""
	case math.Abs(x.ToDeg-x.FromDeg) >= 360:
		return ", all round"
	case x.FromDeg == x.ToDeg:
		return fmt.Sprintf(", at %.1f°", within(x.FromDeg))
	}
	return fmt.Sprintf(", %.1f° to %.1f°", within(x.FromDeg), within(x.ToDeg))
}
