package doctor

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"golang.org/x/sys/unix"

	"tramd/cmd/tramd/internal/certs"
	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/peerlimit"
	"tramd/device/portlist"
)

// ports looks at each port the configuration names. While the daemon answers it is meant to have them open.
func (e *examination) ports(cfg *config.Config, list []portlist.Port, running bool) {
	seen := map[string]bool{}
	look := func(check, port string) {
		// a network address or a capture is no port of ours
		if port == "" || seen[port] || !strings.HasPrefix(port, "/") {
			return
		}
		seen[port] = true
		e.port(check, port, list, running)
	}
	for _, ind := range cfg.Indicators {
		look("port of "+ind.Name, ind.Port)
	}
	look("port of the angle", cfg.Angle.Port)
	look("port of the scale", cfg.Position.Port)
	look("port of the foot switch", cfg.Angle.TriggerPort)
	look("port of the motion controller", cfg.Program.Port)
	for _, in := range cfg.Inputs {
		look("port of input "+in.Name, in.Port)
		if in.File != "" {
			e.inputFile("input "+in.Name, in.File)
		}
	}
	look("port of the hours", cfg.Hours.Port)
}

func (e *examination) port(check, port string, list []portlist.Port, running bool) {
	node, err := filepath.EvalSymlinks(e.m.at(port))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		e.wrong(check, "plug the adapter in, or correct the path; `tramd ports` shows what is there",
			"%s is not there", port)
		return
	case err != nil:
		e.wrong(check, "correct the path; `tramd ports` shows what is there", "%s: %v", port, err)
		return
	}
	var known *portlist.Port
	for i := range list {
		if list[i].Node == node {
			known = &list[i]
		}
	}
	before := len(e.found)
	if known != nil {
		lasting := strings.TrimPrefix(known.Name, e.m.Root)
		if port == strings.TrimPrefix(known.Node, e.m.Root) && lasting != port {
			e.warn(check, "write port = \""+lasting+"\"", "%s may be another adapter after the next replug", port)
		}
		for _, p := range known.OpenBy {
			if p.Name != "tramd" || !running {
				e.wrong(check, "stop that program (ps -p "+itoa(p.PID)+" shows it), or give it another port",
					"%s is open by %s (pid %d)", port, p.Name, p.PID)
			}
		}
	}
	if err := e.m.Access(node); err != nil && e.m.UID != 0 {
		cure := "join the group of the port (ls -l " + node + " shows it), then log in again"
		if errors.Is(err, unix.EROFS) {
			cure = "this is a read-only file system; look from outside the service"
		}
		e.wrong(check, cure, "%s may not open %s: %v", e.m.User, port, err)
	}
	if len(e.found) == before {
		e.ok(check, "%s is there and may be opened", port)
	}
}

// inputFile looks whether an input's file can be read, and says 0 or 1.
func (e *examination) inputFile(check, file string) {
	text, err := os.ReadFile(e.m.at(file))
	said := strings.TrimSpace(string(text))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		e.wrong(check, "export the line, or correct the path; until then the input is unknown", "%s is not there", file)
	case errors.Is(err, fs.ErrPermission):
		e.wrong(check, "join the group of the file (ls -l "+file+
			" shows it), then log in again; the service's user needs it too", "%s may not read %s", e.m.User, file)
	case err != nil:
		e.wrong(check, "correct the path", "%v", err)
	case said != "0" && said != "1":
		e.wrong(check, "name a file that says 0 or 1", "%s says %.20q", file, said)
	default:
		e.ok(check, "%s says %s", file, said)
	}
}

func (e *examination) config(file string, cfg *config.Config) {
	e.ok("config", "%s is right: machine %s", file, cfg.Machine.Name)
	if st, err := os.Stat(file); err == nil && st.Mode().Perm()&0o004 != 0 &&
		strings.HasPrefix(cfg.HTTP.PasswordHash, "$2") {
		e.warn("config", "sudo chmod o-r "+file+", or keep the hash as a credential",
			"everybody on this machine may read %s and the password's hash in it", file)
	}
	host := cfg.HTTP.Listen[:strings.LastIndexByte(cfg.HTTP.Listen, ':')]
	local := peerlimit.Loopback(host)
	switch {
	case cfg.HTTP.Encrypted():
		e.certificate(cfg.HTTP.TLSCert)
	case !local && cfg.HTTP.PasswordHash == "":
		e.ok("page", "the network may look at %s and change nothing: there is no password", cfg.HTTP.Listen)
	case !local:
		e.warn("page", "write tls_cert and tls_key under [http], or keep it to a network you trust",
			"passwords travel to %s unencrypted", cfg.HTTP.Listen)
	default:
		e.ok("page", "the page is shown on this machine only (%s)", cfg.HTTP.Listen)
	}
}

// certificate says how long the page's certificate is still good.
func (e *examination) certificate(file string) {
	until, err := certs.Expires(e.m.at(file))
	left := until.Sub(e.m.Now())
	const cure = "renew it and write it over the old one; the daemon takes it up by itself"
	switch {
	case err != nil:
		e.wrong("page", "correct http.tls_cert, and let the daemon's user read it",
			"the page's certificate cannot be read: %v", err)
	case left <= 0:
		e.wrong("page", cure, "the page's certificate has expired on %s", until.Format("2006-01-02"))
	case left < 14*24*time.Hour:
		e.warn("page", cure, "the page's certificate expires on %s", until.Format("2006-01-02"))
	default:
		e.ok("page", "the page is encrypted; its certificate is good until %s", until.Format("2006-01-02"))
	}
}
