package config

import (
	"fmt"
	"net"
	"net/mail"
	"net/url"
	"os"
	"regexp"
	"strconv"
	"strings"

	"tramd/cmd/tramd/internal/alarm"
)

// Alarm says who gets a message when something is wrong, for a machine without a Prometheus.
type Alarm struct {
	Alertmanager []string `toml:"alertmanager"`    // base addresses: http://host:9093
	Webhook      string   `toml:"webhook"`         // each alarm is posted to it as JSON
	Body         string   `toml:"webhook_body"`    // how it is written there instead, as a template of text/template
	Headers      []string `toml:"webhook_headers"` // "Name: value"; the value itself, or credential:NAME
	Page         string   `toml:"page"`            // address of the machine's page, as people can reach it
}

// Mail is the mail server alarms are sent through; empty = none.
type Mail struct {
	Server   string   `toml:"server"`   // host:port
	TLS      string   `toml:"tls"`      // "require" | "none"
	User     string   `toml:"user"`     // empty = no login
	Password string   `toml:"password"` // itself, or credential:NAME
	From     string   `toml:"from"`
	To       []string `toml:"to"`
}

func (v *validator) alarm(c *Config) {
	for i, u := range c.Alarm.Alertmanager {
		v.address(fmt.Sprintf("alarm.alertmanager.%d", i), u, "http://127.0.0.1:9093")
	}
	if c.Alarm.Webhook != "" {
		v.address("alarm.webhook", c.Alarm.Webhook, "https://shop.example/alarm")
	}
	if c.Alarm.Page != "" {
		v.address("alarm.page", c.Alarm.Page, "https://linnet.shop.example:9743")
	}
	if c.Alarm.Webhook == "" && (c.Alarm.Body != "" || len(c.Alarm.Headers) > 0) {
		v.bad("alarm.webhook", `missing; write the address that webhook_body and webhook_headers are for`)
	}
	if c.Alarm.Body != "" {
		if _, err := alarm.Template(c.Alarm.Body); err != nil {
			v.bad("alarm.webhook_body",
				"%v; write a template as in Go's text/template, of the fields that configuration.md lists", err)
		}
	}
	for i, h := range c.Alarm.Headers {
		if name, value, ok := strings.Cut(h, ":"); !ok || !headerName.MatchString(name) ||
			strings.ContainsAny(value, "\r\n") {
			v.bad(fmt.Sprintf("alarm.webhook_headers.%d", i),
				`%q is not a header; write for example "Authorization: Bearer credential:chat"`, h)
		}
	}
	m := &c.Mail
	if m.Server == "" {
		if m.From != "" || len(m.To) > 0 || m.User != "" {
			v.bad("mail.server", `missing; write host and port, for example server = "mail.example:587"`)
		}
		return
	}
	if _, _, err := m.HostPort(); err != nil {
		v.bad("mail.server", `%q is not host:port; write for example "mail.example:587"`, m.Server)
	}
	if m.TLS == "" {
		m.TLS = "require"
	}
	if m.TLS != "require" && m.TLS != "none" {
		v.bad("mail.tls", `%q; write "require", or "none" for a server on this computer`, m.TLS)
	}
	if m.User != "" && m.TLS == "none" {
		v.bad(
			"mail.tls",
			"a password would cross the network unprotected; write tls = \"require\", or leave user and password out")
	}
	if (m.User == "") != (m.Password == "") {
		v.bad("mail.password", "user and password belong together; write both or neither")
	}
	v.mailbox("mail.from", m.From)
	if len(m.To) == 0 {
		v.bad("mail.to", `no address; write for example to = ["shop@example.org"]`)
	}
	for i, to := range m.To {
		v.mailbox(fmt.Sprintf("mail.to.%d", i), to)
	}
}

var headerName = regexp.MustCompile(`^[A-Za-z0-9-]{1,64}$`)

// Hook is the webhook with its secrets; nil where there is none. Credentials are looked up only now.
func (a Alarm) Hook() (*alarm.Webhook, error) {
	if a.Webhook == "" {
		return nil, nil
	}
	w := &alarm.Webhook{URL: a.Webhook, Headers: map[string]string{}}
	for _, h := range a.Headers {
		name, value, _ := strings.Cut(h, ":")
		words := strings.Fields(value)
		for i := range words {
			text, _, err := secret("alarm.webhook_headers", words[i])
			if err != nil {
				return nil, err
			}
			words[i] = text
		}
		w.Headers[name] = strings.Join(words, " ")
	}
	if a.Body != "" {
		var err error
		if w.Body, err = alarm.Template(a.Body); err != nil {
			return nil, err
		}
	}
	return w, nil
}

// Page returns the address at which people find the machine's page; empty where it is not known, or where no other
// computer can reach it.
func (c *Config) Page() string {
	name, err := os.Hostname()
	if err != nil {
		name = ""
	}
	return c.pageAt(name)
}

// pageAt returns the address of the machine's page: as written, or by this computer's name where the page is open to
// the network; empty where neither is known.
func (c *Config) pageAt(hostname string) string {
	if c.Alarm.Page != "" {
		return strings.TrimSuffix(c.Alarm.Page, "/")
	}
	host, port, err := net.SplitHostPort(c.HTTP.Listen)
	if err != nil || hostname == "" {
		return ""
	}
	if ip := net.ParseIP(host); ip != nil && ip.IsLoopback() || host == "localhost" {
		return ""
	}
	scheme := "http"
	if c.HTTP.Encrypted() {
		scheme = "https"
	}
	if len(c.HTTP.Hosts) > 0 {
		hostname = c.HTTP.Hosts[0]
	}
	return scheme + "://" + net.JoinHostPort(hostname, port)
}

func (v *validator) address(path, text, like string) {
	u, err := url.Parse(text)
	if err != nil || u.Host == "" || (u.Scheme != "http" && u.Scheme != "https") {
		v.bad(path, "%q is not an address; write for example %q", text, like)
	}
}

func (v *validator) mailbox(path, text string) {
	if _, err := mail.ParseAddress(text); err != nil {
		v.bad(path, `%q is not a mail address; write for example "shop@example.org"`, text)
	}
}

// HostPort splits the server's address.
func (m Mail) HostPort() (host string, port int, err error) {
	host, text, err := net.SplitHostPort(m.Server)
	if err != nil {
		return "", 0, err
	}
	port, err = strconv.Atoi(text)
	if err != nil || port < 1 || port > 65535 || host == "" {
		return "", 0, fmt.Errorf("%q has no port", m.Server)
	}
	return host, port, nil
}

// Secret returns the password; a credential is looked up only now.
func (m Mail) Secret() (string, error) {
	text, _, err := secret("mail.password", m.Password)
	return text, err
}
