package daemon

import (
	"tramd/cmd/tramd/internal/mqtt"
	"tramd/cmd/tramd/internal/session"
)

// publishes returns what is published over MQTT; nil where no broker is configured.
func (d *Daemon) publishes() (*mqtt.Options, error) {
	c := d.cfg.MQTT
	if c.Broker == "" {
		return nil, nil
	}
	broker, err := c.Address()
	if err != nil {
		return nil, err
	}
	trust, err := c.TLS()
	if err != nil {
		return nil, err
	}
	return &mqtt.Options{
		Names: mqtt.Names{Prefix: c.Prefix, Discovery: c.Announces(), Machine: d.cfg.Machine.Name,
			Version: d.o.Version, Page: d.cfg.Page()},
		Broker: broker, User: c.User, Password: d.secrets.mqtt, TLS: trust, Live: session.Unwatched{Session: d.session},
		Log: d.o.Log,
	}, nil
}
