package daemon

import (
	"bytes"
	"fmt"
	"log/slog"
	"maps"

	"tramd/cmd/tramd/internal/alarm"
	"tramd/cmd/tramd/internal/certs"
	"tramd/cmd/tramd/internal/config"
)

// secrets are what a configuration names and leaves in files of its own. The daemon reads them with the configuration,
// before it stops anything, and keeps them. So it can put the old ones back even if their files have changed.
type secrets struct {
	hash  string         // of the page's password; empty: nothing can be changed over the network by one
	hook  *alarm.Webhook // with its headers; nil: none
	mail  string         // password of the mail server
	mqtt  string         // password of the broker
	certs *certs.Kept    // nil: the page is served plain
}

func readSecrets(c *config.Config, log *slog.Logger) (s secrets, err error) {
	if s.hash, err = c.HTTP.Hash(); err != nil {
		return s, err
	}
	if s.hook, err = c.Alarm.Hook(); err != nil {
		return s, err
	}
	if c.Mail.Server != "" {
		if s.mail, err = c.Mail.Secret(); err != nil {
			return s, err
		}
	}
	if s.mqtt, err = c.MQTT.Secret(); err != nil {
		return s, err
	}
	if !c.HTTP.Encrypted() {
		return s, nil
	}
	files, err := c.HTTP.CertFiles()
	if err != nil {
		return s, err
	}
	s.certs, err = certs.Load(files, log)
	return s, err
}

// same reports whether others would change nothing. The page's certificate is no matter: it is looked at again at each
// handshake.
func (s secrets) same(o secrets) bool {
	return s.hash == o.hash && s.mail == o.mail && s.mqtt == o.mqtt && s.headers(o) &&
		bytes.Equal(s.authority(), o.authority())
}

// headers reports whether the webhook's are the same.
func (s secrets) headers(o secrets) bool {
	if s.hook == nil || o.hook == nil {
		return s.hook == o.hook
	}
	return maps.Equal(s.hook.Headers, o.hook.Headers)
}

func (s secrets) authority() []byte {
	if s.certs == nil {
		return nil
	}
	return s.certs.Authority
}

// holding says of bad secrets which certificate stays in force, if one does.
func (s secrets) holding(err error) error {
	if s.certs == nil {
		return err
	}
	return fmt.Errorf("%w (in force: %s)", err, s.certs.Page())
}
