package config

import (
	"fmt"
	"net"
	"net/mail"
	"net/url"
	"strconv"
)

// Alarm says who is told when something is wrong, where no Prometheus looks after the machine.
type Alarm struct {
	Alertmanager []string `toml:"alertmanager"` // base addresses: http://host:9093
	Webhook      string   `toml:"webhook"`      // each alarm is posted to it as JSON
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
		v.bad("mail.tls", "a password would cross the network unprotected; write tls = \"require\", or leave user and password out")
	}
	if (m.User == "") != (m.Password == "") {
		v.bad("mail.password", "user and password belong together; write both or neither")
	}
	v.mailbox("mail.from", m.From)
	if len(m.To) == 0 {
		v.bad("mail.to", `nobody; write for example to = ["shop@example.org"]`)
	}
	for i, to := range m.To {
		v.mailbox(fmt.Sprintf("mail.to.%d", i), to)
	}
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

// Secret gives the password; a credential is looked up only now.
func (m Mail) Secret() (string, error) {
	text, _, err := secret("mail.password", m.Password)
	return text, err
}
