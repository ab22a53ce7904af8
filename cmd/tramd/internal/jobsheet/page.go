package jobsheet

import (
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"sort"
	"strings"
	"time"

	"tramd/cmd/tramd/internal/qrcode"
)

var (
	//go:embed page.html
	pageText string
	//go:embed page.css
	style string

	page = template.Must(template.New("job").Parse(pageText))
)

// ContentPolicy is what a browser may do with the page (Content Security Policy Level 3): use its own style, nothing
// else.
func ContentPolicy() string {
	sum := sha256.Sum256([]byte(style))
	return "default-src 'none'; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) +
		"'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
}

type row struct {
	Run                            int64
	When, Tilt, Nod, Verdict, Then string
}

type filled struct {
	Sheet
	Style      template.CSS
	When       string
	First, End row
	Several    bool
	Rows       []row
	Indicators []string
	Map        template.HTML
	Unit       string        // of leans
	Code       template.HTML // the page's address as a QR code
}

// Write writes the page.
func (s *Sheet) Write(w io.Writer) error {
	f := filled{Sheet: *s, Style: template.CSS(style), Map: s.travelled(), Unit: s.Display.Lean()}
	f.Cutters, f.Assembly = s.inUnits(s.Cutters), s.Assembly.in(s)
	for i := range s.Stages {
		f.Rows = append(f.Rows, s.row(&s.Stages[i]))
	}
	if n := len(f.Rows); n > 0 {
		f.First, f.End, f.Several = f.Rows[0], f.Rows[n-1], n > 1
		f.When = span(s.Stages[0].StartedAt, s.Stages[n-1].StartedAt)
	}
	for _, i := range s.Indicators {
		text := fmt.Sprintf("indicator %s: arm %g mm", i.Name, i.RadiusMM)
		if i.RadiusUMM > 0 {
			text += fmt.Sprintf(" (standard uncertainty %g mm)", i.RadiusUMM)
		}
		text += fmt.Sprintf(", resolution %g mm", i.ResolutionMM)
		f.Indicators = append(f.Indicators, s.Display.Words(text))
	}
	if s.Page != "" {
		picture, err := qrcode.SVG(s.Page)
		if err != nil {
			return err
		}
		f.Code = template.HTML(picture)
	}
	return page.Execute(w, f)
}

func (s *Sheet) row(g *Stage) row {
	r := row{Run: g.Run, When: stamp(g.StartedAt), Tilt: s.lean(g.Tilt, g.TiltHalf), Nod: s.lean(g.Nod, g.NodHalf),
		Verdict: g.Verdict}
	if r.Verdict == "" {
		r.Verdict = "none"
	}
	var then []string
	for name, by := range g.Moved {
		amount := s.Display.Words(fmt.Sprintf("%+g %s", by, s.Units[name]))
		then = append(then, strings.TrimSpace(name+" "+minus(amount)))
	}
	sort.Strings(then)
	r.Then = strings.Join(append(then, g.Logged...), "; ")
	return r
}

func (s *Sheet) lean(v, half *float64) string {
	if v == nil {
		return "not measured"
	}
	text := minus(s.Display.Figures(fmt.Sprintf("%+.3f", *v)))
	if half != nil {
		text += s.Display.Figures(fmt.Sprintf(" ± %.3f", *half))
	}
	return text
}

// inUnits returns sentences with their figures in the sheet's units.
func (s *Sheet) inUnits(sentences []string) []string {
	out := make([]string, len(sentences))
	for i, text := range sentences {
		out[i] = s.Display.Words(text)
	}
	return out
}

// minus writes a figure with the sign that is as wide as the plus.
func minus(figure string) string { return strings.Replace(figure, "-", "−", 1) }

func stamp(t time.Time) string { return t.Local().Format("2006-01-02 15:04 MST") }

func span(from, to time.Time) string {
	if from.Local().Format(time.DateOnly) == to.Local().Format(time.DateOnly) {
		return from.Local().Format("2006-01-02 15:04") + " to " + to.Local().Format("15:04 MST")
	}
	return stamp(from) + " to " + stamp(to)
}
