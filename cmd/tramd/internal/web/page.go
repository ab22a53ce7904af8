package web

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"html/template"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/catalogue"
	"tramd/sweep"
)

// views are the parts of the page that have an address of their own, in the order of the bar.
var views = []string{"now", "adjust", "history", "runs", "machine"}

var shell = template.Must(template.New("shell.html").Funcs(template.FuncMap{"t": func(string) string { return "" }}).
	Parse(string(read("shell.html"))))

// filling is what the shell is filled with. The figures stand in it before any script runs: they are the first thing
// that is seen, and all there is without JavaScript.
type filling struct {
	Language, Title, Machine string
	Unit                     string // key of the unit that the page begins with, as in assets/units.js
	View                     string
	Views                    []string
	Modules                  string
	Verdict, VerdictWords    string
	Source, Say              string
	Axes                     []axisSheet
	RunID                    int64
	Runs                     []runRow
	RunsUnit                 string
	Trouble                  string
}

type axisSheet struct{ Name, Digits, Expanded, Words, Verdict, Mark, Times string }

type runRow struct {
	ID                                 int64
	When, Kind, Both, Verdict, Outcome string
}

// modules are the page's scripts but the first two, in a row: the browser fetches them side by side once it has
// painted.
var modules = strings.Join(slices.DeleteFunc(scripts(), func(name string) bool {
	return name == "main.js" || name == "start.js"
}), " ")

func scripts() []string {
	var out []string
	entries, _ := assets.ReadDir("assets") // load has read it before
	for _, e := range entries {
		if kinds[".js"] != "" && len(e.Name()) > 3 && e.Name()[len(e.Name())-3:] == ".js" {
			out = append(out, e.Name())
		}
	}
	return append(out, "texts.js")
}

// page serves one view of the page.
func (s *server) page(view string) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		words := language(r)
		p := filling{Language: words.Language, View: view, Views: views, Modules: modules, Machine: "tramd",
			Title: "tramd", Verdict: "none"}
		if id := r.PathValue("id"); id != "" {
			n, err := pathID(r)
			if err != nil {
				s.fail(w, err)
				return
			}
			p.RunID = n
		}
		ctx, cancel := context.WithTimeout(r.Context(), time.Second)
		defer cancel()
		if snap, err := snapshot(ctx, s.Live); err != nil {
			p.Trouble = words.Text("plain.nothing")
		} else {
			p.Unit = unitKey(s.Units, snap.LimitAs)
			p.fill(snap, words)
		}
		if view == "runs" {
			unit := unitFor(p.Unit, "")
			p.Runs = s.rows(ctx, p.RunID, unit)
			p.RunsUnit = unit.label
		}
		var body bytes.Buffer
		page := template.Must(shell.Clone()).Funcs(
			template.FuncMap{"t": func(key string) string { return words.Text(key) }})
		if err := page.Execute(&body, p); err != nil {
			s.fail(w, err)
			return
		}
		h := w.Header()
		h.Set("Content-Type", "text/html; charset=utf-8")
		h.Set("Cache-Control", "no-store") // it holds figures
		h.Set("Vary", "Accept-Language")
		_, _ = w.Write(body.Bytes()) // a reader who went away needs no answer
	}
}

// fill writes the figures of the sweep in hand, or of the last one.
func (p *filling) fill(s *api.Snapshot, words *catalogue.Catalogue) {
	unit := unitFor(p.Unit, s.LimitAs)
	p.Machine, p.Say = s.Machine, words.Say(s.Sweep.Say)
	result, held := s.Sweep.Result, s.HeldBack()
	switch {
	case s.Sweep.Phase != api.PhaseIdle:
		p.Source = words.Text("now.sofar.short", "run", strconv.FormatInt(s.Sweep.Run, 10))
	case held != nil:
		result = held.Result
		p.Source = words.Text("now.unstored", "run", strconv.FormatInt(held.Run, 10), "when",
			held.At.Local().Format("2006-01-02 15:04"))
	case s.Last != nil:
		result = &s.Last.Result
		p.Source = words.Text("now.last", "run", strconv.FormatInt(s.Last.Run, 10), "when",
			s.Last.At.Local().Format("2006-01-02 15:04"))
	default:
		result = nil
		p.Source = words.Text("now.nothing")
	}
	p.VerdictWords = words.Text("verdict.none.short")
	if result != nil {
		p.Verdict = string(result.Verdict)
		p.VerdictWords = words.Text("verdict." + p.Verdict + ".short")
	}
	p.Title = p.VerdictWords + " · " + s.Machine
	for _, name := range []string{"tilt", "nod"} {
		a := axisSheet{Name: name, Digits: "–", Verdict: "none", Words: words.Text("axis.unmeasured")}
		var axis *sweep.Axis
		if result != nil {
			axis = result.Tilt
			if name == "nod" {
				axis = result.Nod
			}
		}
		if axis != nil {
			half := axis.Expanded.Over(1000)
			a.Digits, a.Expanded = unit.signed(axis.Slope.Over(1000), half), "± "+unit.expanded(half)+" "+unit.label
			a.Verdict, a.Words = string(axis.Verdict), words.Text("verdict."+string(axis.Verdict))
		}
		p.Axes = append(p.Axes, a)
	}
	// where 0 degrees is, is not known
	if result != nil && result.Tilt == nil && result.Nod == nil && result.Lean != nil {
		lean := result.Lean
		half := lean.Expanded.Over(1000)
		p.Axes[0].Digits, p.Axes[0].Expanded,
			p.Axes[0].Words = strings.TrimLeft(unit.signed(lean.Slope.Over(1000), half), "+−"),
			"± "+unit.expanded(half)+" "+unit.label, words.Text("axis.size")
		p.Axes[1].Words = words.Text("axis.nodirection")
	}
	if !s.Store.OK {
		p.Trouble = words.Text("notice.store", "why", words.Say(s.Store.Error))
	}
}

// rows are the newest runs, or the one that was asked for, as the list shows them. Runs come as they are sent, so they
// are read back from their JSON.
func (s *server) rows(ctx context.Context, only int64, unit unit) []runRow {
	if s.Records == nil {
		return nil
	}
	var v any
	var err error
	if only > 0 {
		if v, err = s.Records.Run(ctx, only); err == nil {
			v = []any{v}
		}
	} else {
		v, err = s.Records.Runs(ctx, 0, defaultRuns)
	}
	if err != nil {
		return nil // the script says why
	}
	text, err := json.Marshal(v)
	if err != nil {
		return nil
	}
	var runs []struct {
		ID      int64     `json:"id"`
		Kind    string    `json:"kind"`
		Outcome string    `json:"outcome"`
		Started time.Time `json:"started_at"`
		Result  *struct {
			Verdict string    `json:"verdict"`
			Tilt    *leanJSON `json:"tilt"`
			Nod     *leanJSON `json:"nod"`
		} `json:"result"`
	}
	if json.Unmarshal(text, &runs) != nil {
		return nil
	}
	out := make([]runRow, 0, len(runs))
	for _, r := range runs {
		row := runRow{ID: r.ID, Kind: r.Kind, Outcome: cmp.Or(r.Outcome, "running"),
			When: r.Started.Local().Format("2006-01-02 15:04"), Verdict: "none", Both: "–"}
		if r.Result != nil {
			row.Verdict, row.Both = r.Result.Verdict, r.Result.Tilt.in(unit)+", "+r.Result.Nod.in(unit)
		}
		out = append(out, row)
	}
	return out
}

type leanJSON struct {
	MMPerM float64 `json:"mm_per_m"`
	Half   float64 `json:"U_mm_per_m"`
}

func (l *leanJSON) in(u unit) string {
	if l == nil {
		return "–"
	}
	return u.signed(l.MMPerM, l.Half)
}
