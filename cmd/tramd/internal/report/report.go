package report

import (
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"math"
	"time"

	"tramd/cmd/tramd/internal/display"
	"tramd/cmd/tramd/internal/qrcode"
	"tramd/sweep/charts"
	"tramd/sweep/drift"
)

// Report is what a file is made of.
type Report struct {
	Machine     string
	Surface     string // what the checks swept; may be empty
	Tolerance   string // as written; empty: none
	History     *drift.History
	Answer      *drift.Answer
	Reliability float64
	Version     string
	Units       display.Units // that leans are written in
	Page        string        // where the machine's own page is; empty: not known
}

// drawn is how many checks a picture holds before it is thinned.
const drawn = 600

//go:embed page.html
var pageText string

//go:embed page.css
var style string

// ContentPolicy returns what a browser may do with the page (Content Security Policy Level 3): use its own style,
// nothing else.
func ContentPolicy() string {
	sum := sha256.Sum256([]byte(style))
	return "default-src 'none'; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) +
		"'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
}

var page = template.Must(template.New("page").Parse(pageText))

// sheet is what the template fills in: everything is worked out before, so that the template only places it.
type sheet struct {
	Title, Machine, Surface, Tolerance, Limit string
	Style                                     template.CSS
	From, Until                               string
	Checks                                    int
	Verdict                                   string
	Axes                                      []axisRow
	Standing                                  []string
	Next, Outside, Why                        string
	Histories, Charts                         []picture
	Trends                                    []trendRow
	TrendChecks                               int
	Intervals                                 []intervalRow
	Manual                                    []string
	Episodes                                  []episode
	Events                                    []eventRow
	Notes                                     []string
	Reliability, Version                      string
	Unit, Scale                               string // of leans, and how large it is
	Page                                      string
	Code                                      template.HTML // that as a QR code
}

type axisRow struct{ Name, Level, U, Rate, RateU, Scatter, Kind string }

type picture struct {
	Title, Says string
	SVG         template.HTML
}

type trendRow struct{ Axis, S, Z, P, Slope, Low, High string }

type intervalRow struct{ Method, Days, Hours, Basis string }

type eventRow struct{ Time, Kind, Text string }

// Write writes the file.
func (r *Report) Write(w io.Writer) error {
	a := r.Answer
	s := sheet{
		Title: "How long " + r.Machine + " stays square", Machine: r.Machine, Surface: r.Surface,
		Tolerance: r.Tolerance,
		Style:     template.CSS(style), Checks: len(a.Rows), Verdict: string(a.Verdict),
		Why:         r.Units.Words(a.Forecast.Why),
		Reliability: figure(100*r.Reliability, 4), Version: r.Version, Unit: r.Units.Lean(),
		Scale: "1 mm/m is 0.3 mm over 300 mm",
	}
	l := leans{r.Units}
	if s.Unit != "mm/m" {
		s.Scale = "1 mm/m is " + l.number(1, 4) + " " + s.Unit
	}
	if limit := a.Tracker.Limit(); limit > 0 {
		s.Limit = l.number(limit, 4)
	}
	if n := len(a.Rows); n > 0 {
		s.From, s.Until = date(a.Rows[0].Time), date(a.Rows[n-1].Time)
	}
	s.Axes = l.axisRows(a)
	for _, al := range a.Alarms {
		s.Standing = append(s.Standing, r.Units.Words(al.Text()))
	}
	if n := a.Forecast.Next; n != nil {
		s.Next = r.Units.Words(fmt.Sprintf("%s: %s", date(n.Time), n.Basis(r.Reliability)))
	}
	if o := a.Forecast.Outside; o != nil {
		s.Outside = fmt.Sprintf("%s, with 95 %% between %s and %s", date(o.Time), date(o.Low), date(o.High))
		if o.HighOpen {
			s.Outside = fmt.Sprintf("%s, with 97.5 %% not before %s; it may as well never be", date(o.Time),
				date(o.Low))
		}
	}
	v := a.View(r.History, drawn, r.Reliability)
	for i := range drift.Axes {
		s.Histories = append(s.Histories, l.history(v, i))
		if p, ok := l.control(r.History, i); ok {
			s.Charts = append(s.Charts, p)
		}
	}
	s.Trends, s.TrendChecks = l.trends(r.History)
	intervals := a.Intervals(r.History, r.Reliability)
	for _, x := range intervals {
		s.Intervals = append(s.Intervals, intervalRow{x.Method, interval(x.Days), hours(x.Hours),
			r.Units.Words(x.Basis)})
	}
	s.Manual = r.manual(intervals[0])
	s.Episodes = l.episodes(a.Rows)
	for _, e := range v.Events {
		s.Events = append(s.Events, eventRow{e.Time, e.Kind, e.Text})
	}
	for _, n := range a.Warnings {
		s.Notes = append(s.Notes, r.Units.Words(n.Text))
	}
	if r.Page != "" {
		picture, err := qrcode.SVG(r.Page)
		if err != nil {
			return err
		}
		s.Page, s.Code = r.Page, template.HTML(picture)
	}
	return page.Execute(w, s)
}

func (l leans) axisRows(a *drift.Answer) []axisRow {
	var out []axisRow
	for i, x := range a.Tracker.Now() {
		row := axisRow{Name: drift.Axes[i], Level: "not measured", U: "–", Rate: "–", RateU: "–",
			Scatter: "–", Kind: "–"}
		if x != nil {
			row.Level = l.signed(x.Level, 4)
			row.U, row.Rate, row.RateU = l.number(1.96*x.U, 4), l.signed(x.Rate, 6), l.number(1.96*x.RateU, 6)
			row.Scatter = l.number(a.Scatter[i], 4)
			if rate, u, ok := a.RatePer100Hours(i); ok {
				row.Rate += fmt.Sprintf(" (by the spindle's hours: %s ± %s per 100 h)", l.signed(rate, 5),
					l.number(1.96*u, 5))
			}
			if perK, u, ok := a.PerKelvin(i); ok {
				row.Level += fmt.Sprintf(" (at %s °C; with the temperature: %s ± %s per kelvin)", number(a.AtC, 1),
					l.signed(perK, 5), l.number(1.96*u, 5))
			}
			best := 0.0
			for k := drift.Steady; k <= drift.Settling; k++ {
				if p := a.Process[i][k]; p > best {
					best, row.Kind = p, fmt.Sprintf("%s (%.0f %%)", k, 100*p)
				}
			}
		}
		out = append(out, row)
	}
	return out
}

// trendChecks bounds the second opinion, whose cost grows with the square: the latest so many.
const trendChecks = 1000

// trends is the second opinion: a test and a slope that take nothing for granted about how the figures are scattered.
func (l leans) trends(h *drift.History) ([]trendRow, int) {
	seg := h.Segment()
	seg = seg[max(0, len(seg)-trendChecks):]
	var out []trendRow
	for i, name := range drift.Axes {
		var t, x []float64
		for _, c := range seg {
			if v := c.Axis[i]; v != nil {
				t, x = append(t, c.Time.Sub(seg[0].Time).Hours()/24), append(x, v.MMPerM)
			}
		}
		if len(x) < 4 {
			continue
		}
		m, s := charts.MannKendall(x), charts.TheilSen(t, x, 1.96)
		if math.IsNaN(s.Slope) {
			continue
		}
		out = append(out, trendRow{name, signed(float64(m.S), 0), signed(m.Z, 2), probability(m.P()),
			l.signed(s.Slope, 6), l.signed(s.Low, 6), l.signed(s.High, 6)})
	}
	return out, len(seg)
}

func date(t time.Time) string { return t.Local().Format("2006-01-02 15:04 MST") }
