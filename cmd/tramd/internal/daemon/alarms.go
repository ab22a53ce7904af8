package daemon

import (
	"log/slog"

	"tramd/cmd/tramd/internal/alarm"
	"tramd/cmd/tramd/internal/config"
)

// notifier makes the part that sends alarms; nil when the configuration names no receiver. kept are its secrets.
func notifier(c *config.Config, kept secrets, page string, live alarm.Live, log *slog.Logger) (*alarm.Notifier, error) {
	o := alarm.Options{
		Machine: c.Machine.Name, Alertmanagers: c.Alarm.Alertmanager, Webhook: kept.hook, Page: page,
		File: c.Store.Path + ".alarms", Units: c.Units(), Log: log,
	}
	if m := c.Mail; m.Server != "" {
		host, port, err := m.HostPort()
		if err != nil {
			return nil, err
		}
		o.Mail = &alarm.Mail{Host: host, Port: port, TLS: m.TLS, User: m.User, Password: kept.mail,
			From: m.From, To: m.To}
	}
	if !o.Any() {
		return nil, nil
	}
	return alarm.New(live, o), nil
}
