package manual

import (
	"bufio"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/alecthomas/kong"
)

// Words are the parts of the page that the grammar does not hold.
type Words struct {
	Version  string
	Date     time.Time
	Cautions string
	Examples func(command string) []Example
}

// Example is a command line worth copying, and what it does.
type Example struct{ Line, Does string }

// Page writes the manual page (man(7)).
func Page(w io.Writer, app *kong.Application, words Words) error {
	p := &page{out: bufio.NewWriter(w)}
	p.line(`.TH TRAMD 1 "%s" "tramd %s" "User Commands"`, words.Date.UTC().Format("2006-01-02"), escape(words.Version))
	p.line(`.SH NAME`)
	p.line(`tramd \- square a milling machine's spindle to its table and keep it so`)
	p.line(`.SH SYNOPSIS`)
	for i, c := range commands(app) {
		if len(c.node.Children) > 0 {
			continue
		}
		if i > 0 {
			p.line(`.br`)
		}
		p.line(`%s`, synopsis(c))
	}
	p.line(`.SH DESCRIPTION`)
	p.text(description)
	p.line(`.SH CAUTIONS`)
	p.text(words.Cautions)
	p.line(`.SH COMMANDS`)
	for _, c := range commands(app) {
		p.command(c)
	}
	p.line(`.SH EXAMPLES`)
	for _, c := range append([]command{{"", app.Node}}, commands(app)...) {
		for _, x := range words.Examples(c.path) {
			p.item(`\fB`+escape(x.Line)+`\fR`, x.Does)
		}
	}
	for _, s := range sections {
		p.line(`.SH %s`, s.title)
		for _, x := range s.items {
			p.item(`\fB`+escape(x.text)+`\fR`, x.help)
		}
	}
	p.line(`.SH SEE ALSO`)
	p.line(`.BR systemctl (1),`)
	p.line(`.BR journalctl (1),`)
	p.line(`.BR udevadm (8)`)
	return p.out.Flush()
}

const description = `tramd reads digital indicators over serial lines, tags every reading with the spindle angle, fits the circle as it is swept, and says how far the spindle leans: tilt (left-right) and nod (front-back), each with an uncertainty and a verdict against a tolerance. Every run is stored with its readings.
The daemon is started by "tramd run"; the other commands speak to it over its local socket or read its record.`

type section struct {
	title string
	items []word
}

var sections = []section{
	{"EXIT STATUS", []word{
		{"0", "Done, and within tolerance where there is a verdict."}, {"1", "Failed."}, {"2", "Wrong usage."},
		{"3", "Outside tolerance."}, {"4", "Undecided: the interval straddles the limit."},
	}},
	{"SIGNALS", []word{
		{"SIGTERM, SIGINT", "End in good order; a sweep in hand is stored as abandoned. A second one ends at once."},
		{"SIGHUP", "The daemon reads its configuration again. A bad one changes nothing, and the log says why."},
	}},
	{"FILES", []word{
		{"/etc/tramd/NAME.toml", "Configuration of the machine NAME, as tramd@NAME.service reads it."},
		{"/etc/tramd/NAME.password_hash", "Hash of the page's password, handed over as the credential password_hash."},
		{"/var/lib/tramd/NAME/", "The place for its record."},
	}},
	{"ENVIRONMENT", []word{
		{"CREDENTIALS_DIRECTORY", "Where values written as credential:NAME are looked up; set by the service manager."},
		{"NOTIFY_SOCKET, WATCHDOG_USEC", "How the daemon shows the service manager that it is ready and alive."},
		{"GOGC, GOMEMLIMIT", "The garbage collector's settings, where those of tramd do not suit."},
	}},
}

// page writes roff, in which a dot at the start of a line and a backslash anywhere mean something.
type page struct{ out *bufio.Writer }

func (p *page) line(format string, args ...any) { fmt.Fprintf(p.out, format+"\n", args...) }

// text writes plain words, a paragraph a line.
func (p *page) text(s string) {
	for i, l := range strings.Split(strings.TrimSpace(s), "\n") {
		if i > 0 {
			p.line(`.PP`)
		}
		p.line(`%s`, escape(l))
	}
}

func (p *page) item(head, help string) {
	p.line(`.TP`)
	p.line(`%s`, head)
	p.line(`%s`, escape(help))
}

func (p *page) command(c command) {
	p.line(`.SS "tramd %s"`, escape(c.path))
	p.text(c.node.Help)
	for _, a := range c.node.Positional {
		if a.Help != "" {
			p.item(`\fI`+escape(a.Name)+`\fR`, a.Help+values(a))
		}
	}
	for _, f := range c.node.Flags {
		if f.Hidden {
			continue
		}
		head := `\fB` + escape("--"+f.Name) + `\fR`
		if takesValue(f) {
			head += `=\fI` + escape(placeholder(f)) + `\fR`
		}
		help := f.Help + values(f.Value)
		if f.Required {
			help += " Required."
		}
		p.item(head, help)
	}
}

// placeholder stands for a flag's value.
func placeholder(f *kong.Flag) string {
	if f.PlaceHolder != "" {
		return f.PlaceHolder
	}
	return strings.ToUpper(f.Name)
}

// values says which values are known and which is taken without a word.
func values(v *kong.Value) string {
	s := ""
	if e := enum(v); e != nil {
		s += " One of " + strings.Join(e, ", ") + "."
	}
	if v.HasDefault && v.Default != "" {
		s += " Default: " + v.Default + "."
	}
	return s
}

func synopsis(c command) string {
	s := `\fBtramd ` + escape(c.path) + `\fR`
	optional := false
	for _, f := range c.node.Flags {
		if f.Required {
			s += ` \fB` + escape("--"+f.Name) + `\fR=\fI` + escape(placeholder(f)) + `\fR`
		} else {
			optional = optional || !f.Hidden
		}
	}
	if optional {
		s += ` [\fIflags\fR]`
	}
	for _, a := range c.node.Positional {
		arg := `\fI` + escape(strings.ToUpper(a.Name)) + `\fR`
		if a.IsCumulative() {
			arg += `...`
		}
		if !a.Required {
			arg = `[` + arg + `]`
		}
		s += ` ` + arg
	}
	return s
}

var marks = strings.NewReplacer(`\`, `\e`, "-", `\-`, `"`, `\(dq`, "'", `\(aq`, "`", `\(ga`, "°", `\(de`, "±", `\(+-`,
	"µ", `\(mc`, "\n", " ")

func escape(s string) string {
	s = marks.Replace(s)
	if strings.HasPrefix(s, ".") {
		s = `\&` + s
	}
	return s
}
