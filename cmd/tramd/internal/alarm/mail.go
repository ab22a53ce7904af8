package alarm

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/wneessen/go-mail"
)

// Mail is how messages are sent by mail.
type Mail struct {
	Host string
	Port int
	// "require" (STARTTLS, or from the start on port 465) | "none", for a server on this computer or in the shop
	TLS            string
	User, Password string // both empty: no login
	From           string
	To             []string
}

func (m Mail) name() string { return "mail" }

func (m Mail) client() (*mail.Client, error) {
	o := []mail.Option{mail.WithPort(m.Port), mail.WithTimeout(sendTimeout), mail.WithTLSPolicy(mail.TLSMandatory)}
	switch {
	case m.TLS == "none":
		o = append(o, mail.WithTLSPolicy(mail.NoTLS))
	case m.Port == 465:
		o = append(o, mail.WithSSL())
	}
	if m.User != "" {
		o = append(o, mail.WithSMTPAuth(mail.SMTPAuthAutoDiscover), mail.WithUsername(m.User),
			mail.WithPassword(m.Password))
	}
	return mail.NewClient(m.Host, o...)
}

func (m Mail) tell(ctx context.Context, msg Message) error {
	letter := mail.NewMsg()
	if err := errors.Join(letter.From(m.From), letter.To(m.To...)); err != nil {
		return fmt.Errorf("%w: %w", errRefused, err)
	}
	letter.Subject(msg.Title())
	letter.SetBodyString(mail.TypeTextPlain, words(msg))
	letter.SetDate()
	letter.SetMessageID()
	c, err := m.client()
	if err != nil {
		return fmt.Errorf("%w: %w", errRefused, err)
	}
	return c.DialAndSendWithContext(ctx, letter)
}

func words(m Message) string {
	var b strings.Builder
	fmt.Fprintf(&b, "Machine %s\r\n%s\r\n\r\nSince %s\r\n", m.Machine, m.Text, m.Since.Local().Format(time.DateTime))
	if m.Until != nil {
		fmt.Fprintf(&b, "Until %s\r\n", m.Until.Local().Format(time.DateTime))
	}
	if m.State == "raised" && (m.Kind == "outside" || m.Kind == "again" || m.Kind == "shift" || m.Kind == "trend") {
		b.WriteString(
			"\r\nBefore a hand or an arm goes near the spindle: isolate its power. Support the head before loosening what holds it.\r\n")
	}
	if m.Page != "" {
		fmt.Fprintf(&b, "\r\n%s\r\n%s\r\n", m.Page, m.Runbook)
	}
	return b.String()
}
