package config

import (
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"net/url"
	"strings"

	"tramd/cmd/tramd/internal/smallfile"
)

// MQTT says which broker the machine's state is published to; empty = none.
type MQTT struct {
	Broker   string `toml:"broker"`   // mqtt://host:1883, or mqtts://host:8883
	User     string `toml:"user"`     // empty = no login
	Password string `toml:"password"` // itself, or credential:NAME
	CA       string `toml:"ca"`       // PEM file with the broker's authority; empty = the system's
	Prefix   string `toml:"prefix"`   // first level of the topics; default tramd
	// first level of Home Assistant's discovery topics; default homeassistant; "off": none
	Discovery string `toml:"discovery"`
}

// discoveryOff switches discovery off.
const discoveryOff = "off"

func (v *validator) mqtt(m *MQTT) {
	if m.Broker == "" {
		if *m != (MQTT{}) {
			v.bad("mqtt.broker", `missing; write for example broker = "mqtts://broker.shop:8883"`)
		}
		return
	}
	u, err := url.Parse(m.Broker)
	if err != nil || u.Scheme != "mqtt" && u.Scheme != "mqtts" || u.Hostname() == "" || u.User != nil ||
		strings.Trim(u.Path, "/") != "" {
		v.bad("mqtt.broker",
			`%q is no address of a broker; write for example "mqtt://broker.shop:1883", or "mqtts://broker.shop:8883" with encryption`, m.Broker)
		return
	}
	if m.Password != "" && m.User == "" {
		v.bad("mqtt.user", "missing; a password goes with a user")
	}
	if m.CA != "" && u.Scheme != "mqtts" {
		v.bad("mqtt.ca", `belongs to an encrypted connection; write broker = "mqtts://..."`)
	}
	if m.Prefix == "" {
		m.Prefix = "tramd"
	}
	if m.Discovery == "" {
		m.Discovery = "homeassistant"
	}
	for key, text := range map[string]string{"mqtt.prefix": m.Prefix, "mqtt.discovery": m.Discovery} {
		if strings.ContainsAny(text, "+#$\x00") || strings.HasPrefix(text, "/") || strings.HasSuffix(text, "/") {
			v.bad(key, `%q is no topic; write letters, digits, - or _`, text)
		}
	}
}

// Announces returns the first level of the discovery topics; empty where they are off.
func (m MQTT) Announces() string {
	if m.Discovery == discoveryOff {
		return ""
	}
	return m.Discovery
}

// Address returns where the broker is, with the port that its scheme implies.
func (m MQTT) Address() (*url.URL, error) {
	u, err := url.Parse(m.Broker)
	if err != nil {
		return nil, err
	}
	if u.Port() == "" {
		u.Host = u.Hostname() + map[string]string{"mqtt": ":1883", "mqtts": ":8883"}[u.Scheme]
	}
	return u, nil
}

// Secret returns the password for the broker.
func (m MQTT) Secret() (string, error) {
	text, _, err := secret("mqtt.password", m.Password)
	return text, err
}

// TLS returns how the broker's certificate is judged; nil: by the system's authorities.
func (m MQTT) TLS() (*tls.Config, error) {
	if m.CA == "" {
		return nil, nil
	}
	pem, err := smallfile.Read(m.CA)
	if err != nil {
		return nil, fmt.Errorf("mqtt.ca: %w", err)
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(pem) {
		return nil, fmt.Errorf("mqtt.ca: %s holds no certificate in PEM form", m.CA)
	}
	return &tls.Config{RootCAs: pool, MinVersion: tls.VersionTLS12}, nil
}
