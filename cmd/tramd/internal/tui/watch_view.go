package tui

import (
	"fmt"
	"math"
	"strings"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/display"
	"tramd/sweep"
)

// View returns the present state for a terminal of that width. An age above zero says that nothing was heard for so
// long.
func View(s *api.Snapshot, width int, age time.Duration, u display.Units) string {
	var b strings.Builder
	row := func(format string, args ...any) {
		b.WriteString(clip(u.Words(fmt.Sprintf(format, args...)), width) + "\n")
	}
	line := func(format string, args ...any) { // words: what a terminal cuts off is often the cure
		b.WriteString(wrapped(u.Words(fmt.Sprintf(format, args...)), width, textColumn) + "\n")
	}
	line("%s   %s", s.Machine, s.At.Local().Format(time.DateTime))
	if age > 0 {
		line("STALE: the daemon has said nothing for %.0f s", age.Seconds())
	}
	result, what := shown(s)
	line("%s", what)
	for _, drawn := range drawing(result, s.Limit, width, u) {
		row("%s", drawn)
	}
	if sw := s.Sweep; sw.Phase != api.PhaseIdle {
		line("%s", sw.Say)
		row("%s", progress(sw, width))
		if sw.WhyNot != "" {
			line("no lean yet: %s", sw.WhyNot)
		}
	} else if result != nil && (result.Verdict == sweep.Outside || result.Verdict == sweep.Undecided) {
		line("next: tramd advise --config FILE")
	}
	if s.Drift != nil {
		for _, a := range s.Drift.Alarms {
			line("ALARM %s since %s: %s", a.Kind, a.Since.Local().Format(time.DateOnly), a.Text)
		}
	}
	for _, kind := range api.TroubleKinds {
		if why := s.Troubles[kind]; why != "" {
			line("TROUBLE %s: %s", kind, why)
		}
	}
	if !s.Store.OK {
		line("NOT STORED: readings wait in memory: %s", s.Store.Error)
	}
	if !s.Clock.Set {
		line("the clock of this computer has not been set")
	}
	for _, d := range s.Devices {
		line("%-12s %-9s %s", d.Name, d.State, reading(d, s.Position))
	}
	line("%-12s %-9s %s", "angle", s.Angle.Source, degrees(s.Angle))
	for _, text := range machineRows(s) {
		line("%s", text)
	}
	for _, text := range pairRows(s) {
		line("%s", text)
	}
	if s.NextCheck != nil {
		line("next check   %s", s.NextCheck.Local().Format(time.DateOnly))
	}
	for _, text := range planned(s) {
		line("%s", text)
	}
	return b.String()
}

// drawing writes both axes in large figures, and the plan beside them where the terminal is wide enough, else below.
func drawing(r *sweep.Result, limit float64, width int, u display.Units) []string {
	if l := r.SizeOnly(); l != nil {
		return append(largeFigure("lean", fmt.Sprintf("%.3f", l.Slope.MMPerM()), l.Expanded.MMPerM(), string(r.Verdict),
			u), l.Direction())
	}
	if r == nil {
		return nil
	}
	rows := append(large("tilt", r.Tilt, u), large("nod", r.Nod, u)...)
	seen := plan(r, limit)
	const figuresWide = 44
	if width < figuresWide+36 {
		return append(rows, seen...)
	}
	for i, row := range seen {
		if i == len(rows) {
			rows = append(rows, "")
		}
		rows[i] = strings.TrimRight(rows[i]+strings.Repeat(" ", max(1, figuresWide-len([]rune(rows[i]))))+row, " ")
	}
	return rows
}

// progress writes how far the sweep has come, as a bar and in figures.
func progress(sw api.SweepState, width int) string {
	part := 0.0
	if n := len(sw.Stations); n > 0 {
		done := 0
		for _, st := range sw.Stations {
			if st.State == "taken" || st.State == "skipped" {
				done++
			}
		}
		part = float64(done) / float64(n)
	} else if sw.TurnsWanted > 0 {
		part = sw.TurnsDone / float64(sw.TurnsWanted)
	}
	part = min(1, max(0, part))
	wide := min(30, max(8, width-40))
	full := int(math.Round(part * float64(wide)))
	return fmt.Sprintf("[%s%s] %3.0f %%  %d readings, %d on disk", strings.Repeat("#", full),
		strings.Repeat("-", wide-full), 100*part, sw.Readings, sw.Stored)
}

// planned says when the next check is to be taken by itself, and what would keep it from that as things are.
func planned(s *api.Snapshot) (rows []string) {
	if s.Check == nil {
		return nil
	}
	at, err := time.Parse(time.RFC3339, s.Check.Next)
	if err != nil {
		return []string{"planned      no check lies ahead"}
	}
	row := "planned      a check at " + at.Local().Format(time.DateTime)
	switch {
	case s.Check.DryRun:
		row += ", a dry run"
	case s.Check.Moves && s.Angle.ArmedUntil != nil:
		row += ", armed until " + s.Angle.ArmedUntil.Local().Format(time.DateTime) + ": keep clear of the arm"
	}
	rows = append(rows, row)
	for _, why := range s.Check.WhyNot {
		rows = append(rows, "             not as things are: "+why)
	}
	if s.Check.Say != "" {
		rows = append(rows, "             last: "+s.Check.Say)
	}
	return rows
}

// machineRows is what the machine says of itself.
func machineRows(s *api.Snapshot) (rows []string) {
	for _, in := range s.Inputs {
		text := in.Error
		if text == "" {
			text = fmt.Sprintf("for %.0f s", in.SinceS)
		}
		rows = append(rows, fmt.Sprintf("%-12s %-9s %s", in.Name, in.State, text))
	}
	if h := s.Hours; h != nil {
		text := "not known yet"
		if h.Hours != nil {
			text = fmt.Sprintf("%.1f h", *h.Hours)
		}
		if h.Error != "" {
			text += "; " + h.Error
		}
		rows = append(rows, fmt.Sprintf("%-12s %-9s by %s", "spindle", text, h.From))
	}
	return rows
}

// shown picks the result to show: the sweep in hand, or the last one.
func shown(s *api.Snapshot) (*sweep.Result, string) {
	if s.Sweep.Phase != api.PhaseIdle && s.Sweep.Result != nil {
		return s.Sweep.Result, "Sweep in hand"
	}
	if x := s.HeldBack(); x != nil {
		return x.Result, fmt.Sprintf("Run %d of %s, NOT STORED", x.Run, x.At.Local().Format(time.DateTime))
	}
	if s.Last != nil {
		return &s.Last.Result, fmt.Sprintf("Run %d of %s", s.Last.Run, s.Last.At.Local().Format(time.DateTime))
	}
	return nil, "Nothing has been swept yet"
}

func reading(d api.DeviceState, p *api.PositionState) string {
	switch {
	case d.ReadingMM != nil:
		return fmt.Sprintf("%+9.4f mm", *d.ReadingMM) + standing(d)
	case d.Error != "":
		return d.Error
	case d.State == "live" && d.Role == api.PositionRole && p != nil && p.MM != nil:
		return fmt.Sprintf("%+9.2f mm", *p.MM)
	case d.State == "live" && d.Role == api.MachineRole:
		return fmt.Sprintf("%d answers", d.Answered)
	case d.State == "live":
		return fmt.Sprintf("%d lines", d.Readings)
	default:
		return fmt.Sprintf("for %.0f s", d.SinceS)
	}
}

// standing says how far a reading may be trusted while an adjuster is loose: against one from before, so much; how old
// it is; and by how much it lags behind a surface that moves.
func standing(d api.DeviceState) string {
	if d.UMM == nil || d.LagMM == nil {
		return ""
	}
	text := fmt.Sprintf(" ±%.4f mm", math.Ceil(2e4**d.UMM)/1e4)
	if d.AgeS != nil {
		text += fmt.Sprintf(", %.1f s ago", *d.AgeS)
	}
	if math.Abs(*d.LagMM) >= 0.0005 {
		text += fmt.Sprintf(", lags %.4f mm behind", math.Abs(*d.LagMM))
	}
	return text
}

func degrees(a api.AngleState) string {
	if a.Zero != nil && !a.Zero.Known {
		return "zero not known: " + a.Zero.Why
	}
	if a.Deg == nil {
		return "not known"
	}
	return fmt.Sprintf("%6.1f°", *a.Deg)
}

// textColumn is where the text of a row begins, behind its name.
const textColumn = 13

// wrapped breaks a line between words where a terminal of that width ends. What follows is indented to column indent.
func wrapped(line string, width, indent int) string {
	indent = max(0, min(indent, width/3))
	var b strings.Builder
	rest := []rune(line)
	for room := max(1, width); len(rest) > room; room = max(1, width-indent) {
		at, next := room, room
		for i := room; i > room/2; i-- {
			if rest[i] == ' ' {
				at, next = i, i+1
				break
			}
		}
		b.WriteString(string(rest[:at]) + "\n" + strings.Repeat(" ", indent))
		rest = rest[next:]
	}
	return b.String() + string(rest)
}

func clip(line string, width int) string {
	if r := []rune(line); len(r) > width {
		return string(r[:width])
	}
	return line
}

// figures are drawn three columns wide and five rows high, to be read from the other side of the machine.
var figures = map[rune][5]string{
	'0': {"███", "█ █", "█ █", "█ █", "███"}, '1': {"  █", "  █", "  █", "  █", "  █"},
	'2': {"███", "  █", "███", "█  ", "███"}, '3': {"███", "  █", "███", "  █", "███"},
	'4': {"█ █", "█ █", "███", "  █", "  █"}, '5': {"███", "█  ", "███", "  █", "███"},
	'6': {"███", "█  ", "███", "█ █", "███"}, '7': {"███", "  █", "  █", "  █", "  █"},
	'8': {"███", "█ █", "███", "█ █", "███"}, '9': {"███", "█ █", "███", "  █", "███"},
	'+': {"   ", " █ ", "███", " █ ", "   "}, '-': {"   ", "   ", "███", "   ", "   "},
	'.': {" ", " ", " ", " ", "█"},
}

// large writes one axis in large figures, its name, uncertainty and verdict beside them.
func large(name string, a *sweep.Axis, u display.Units) []string {
	if a == nil {
		return []string{fmt.Sprintf("%-5s not measured", name)}
	}
	return largeFigure(name, fmt.Sprintf("%+.3f", a.Slope.MMPerM()), a.Expanded.MMPerM(), string(a.Verdict), u)
}

func largeFigure(name, figure string, half float64, verdict string, u display.Units) []string {
	return append(beside(name, u.Figures(figure), u.Lean(), "±"+u.Figures(fmt.Sprintf("%.3f", half)), verdict), "")
}

// beside writes a figure large, with its name before it and three words behind it.
func beside(name, figure string, words ...string) []string {
	var rows [5]string
	for _, r := range figure {
		for i, part := range figures[r] {
			rows[i] += part + " "
		}
	}
	out := make([]string, 0, 6)
	for i, row := range rows {
		label, side := "", ""
		if i == 2 {
			label = name
		}
		if i > 0 && i <= len(words) {
			side = words[i-1]
		}
		out = append(out, strings.TrimRight(fmt.Sprintf("%-5s %s  %s", label, row, side), " "))
	}
	return out
}

// plan draws the lean seen from above, the machine's back at the top: o the lean, + square, . the limit. A terminal's
// letters are about twice as high as wide.
func plan(r *sweep.Result, limit float64) []string {
	if r.Tilt == nil || r.Nod == nil || limit <= 0 {
		return nil
	}
	const half = 5
	scale := half / (1.25 * limit)
	var grid [2*half + 1][4*half + 1]rune
	for y := range grid {
		for x := range grid[y] {
			grid[y][x] = ' '
		}
	}
	put := func(tilt, nod float64, c rune) {
		x, y := int(math.Round(2*half+2*tilt*scale)), int(math.Round(half-nod*scale))
		x, y = min(max(x, 0), 4*half), min(max(y, 0), 2*half) // what lies outside is drawn at the edge
		grid[y][x] = c
	}
	for i := -2 * half; i <= 2*half; i++ { // the limit holds for each axis by itself: a square
		at := limit * float64(i) / (2 * half)
		put(at, limit, '.')
		put(at, -limit, '.')
		put(limit, at, '.')
		put(-limit, at, '.')
	}
	put(0, 0, '+')
	put(r.Tilt.Slope.MMPerM(), r.Nod.Slope.MMPerM(), 'o')
	out := []string{"                  back"}
	for y := range grid {
		edge := [2]string{"     ", ""}
		if y == half {
			edge = [2]string{"left ", " right"}
		}
		out = append(out, strings.TrimRight("   "+edge[0]+string(grid[y][:])+edge[1], " "))
	}
	return append(out, "                  front")
}
