package doctor

import (
	"bufio"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/url"
	"strings"
	"time"

	"tramd/cmd/tramd/internal/config"
)

// reachWithin is how long another computer may take to answer.
const reachWithin = 5 * time.Second

// reach tries whether what the machine's alarms and state are sent to answers. It sends nothing that anybody would see:
// it connects, has a certificate shown, reads a mail server's greeting, and leaves.
func (e *examination) reach(ctx context.Context, cfg *config.Config) {
	nowhere := true
	for _, u := range append(append([]string{}, cfg.Alarm.Alertmanager...), cfg.Alarm.Webhook) {
		if u == "" {
			continue
		}
		nowhere = false
		if at, err := url.Parse(u); err == nil { // judged when the configuration was read
			e.answer("alarm", "see that it runs, its address in [alarm], and the network", hostPort(at),
				e.connect(ctx, hostPort(at), at.Scheme == "https", nil))
		}
	}
	if m := cfg.Mail; m.Server != "" {
		nowhere = false
		e.answer("mail", "see mail.server, and that the network lets mail out (port 587 or 465)", m.Server,
			e.greeting(ctx, m))
	}
	if nowhere {
		e.warn("alarm", "write [alarm] alertmanager or webhook, or [mail], or let a Prometheus look at /metrics",
			"alarms are sent to no one: they stand on the page alone")
	}
	if cfg.MQTT.Broker == "" {
		return
	}
	const cure = "see that the broker runs, mqtt.broker, and the network"
	at, err := cfg.MQTT.Address()
	if err != nil {
		return // judged when the configuration was read
	}
	trust, err := cfg.MQTT.TLS()
	if err == nil {
		err = e.connect(ctx, at.Host, at.Scheme == "mqtts", trust)
	}
	e.answer("mqtt", cure, at.Host, err)
}

// answer reports whether another computer was reached.
func (e *examination) answer(check, cure, addr string, err error) {
	var cert *tls.CertificateVerificationError
	switch {
	case err == nil:
		e.ok(check, "%s answers", addr)
	case errors.As(err, &cert):
		e.wrong(
			check,
			"have a certificate made for this name by an authority that this computer trusts (package ca-certificates)",
			"%s shows a certificate that is not trusted: %v", addr, cert.Err)
	default:
		e.wrong(check, cure, "%s does not answer: %v", addr, err)
	}
}

func hostPort(u *url.URL) string {
	if u.Port() != "" {
		return u.Host
	}
	return net.JoinHostPort(u.Hostname(), map[string]string{"http": "80", "https": "443"}[u.Scheme])
}

// connect opens a connection, with a certificate shown if it is to be encrypted, and closes it.
func (e *examination) connect(ctx context.Context, addr string, encrypted bool, trust *tls.Config) error {
	ctx, cancel := context.WithTimeout(ctx, reachWithin)
	defer cancel()
	c, err := e.m.Dial(ctx, "tcp", addr)
	if err != nil {
		return err
	}
	defer c.Close()
	if !encrypted {
		return nil
	}
	if trust == nil {
		trust = &tls.Config{MinVersion: tls.VersionTLS12}
	}
	trust = trust.Clone()
	if trust.ServerName, _, err = net.SplitHostPort(addr); err != nil {
		return err
	}
	return tls.Client(c, trust).HandshakeContext(ctx)
}

// greeting reads what a mail server says first (RFC 5321, section 3.1), and takes its leave.
func (e *examination) greeting(ctx context.Context, m config.Mail) error {
	ctx, cancel := context.WithTimeout(ctx, reachWithin)
	defer cancel()
	c, err := e.m.Dial(ctx, "tcp", m.Server)
	if err != nil {
		return err
	}
	defer c.Close()
	_ = c.SetDeadline(time.Now().Add(reachWithin)) // a connection without deadlines ends with the context
	if host, port, err := m.HostPort(); err == nil && port == 465 {
		s := tls.Client(c, &tls.Config{ServerName: host, MinVersion: tls.VersionTLS12})
		if err := s.HandshakeContext(ctx); err != nil {
			return err
		}
		c = s
	}
	line, err := bufio.NewReaderSize(c, 512).ReadString('\n')
	if err != nil {
		return fmt.Errorf("it says nothing: %w", err)
	}
	if !strings.HasPrefix(line, "220") {
		return fmt.Errorf("it says %.100q", strings.TrimSpace(line))
	}
	_, _ = c.Write([]byte("QUIT\r\n")) // politeness
	return nil
}
