package mqtt

import (
	"bytes"
	"context"
	"crypto/tls"
	"log/slog"
	"net/url"
	"time"

	"tramd/cmd/tramd/internal/api"

	"github.com/eclipse/paho.golang/autopaho"
	"github.com/eclipse/paho.golang/paho"
)

// Live is where the present state comes from.
type Live interface {
	Snapshot(ctx context.Context) (*api.Snapshot, error)
}

// Options say where to publish, and as whom.
type Options struct {
	Names
	Broker   *url.URL // mqtt://host:1883 or mqtts://host:8883
	User     string
	Password string
	TLS      *tls.Config // nil: the system's authorities
	Live     Live
	Log      *slog.Logger
	Every    time.Duration // between looks at the state; 0: one second
}

const (
	keepAlive   = 30 // seconds
	sendTimeout = 5 * time.Second
	lastWords   = 2 * time.Second // for saying offline and good-bye
	qos         = 1
)

// Run publishes until ctx ends. A broker that is away or refuses is tried again for ever, ever more slowly; it is
// logged once each time the connection is lost.
func Run(ctx context.Context, o Options) {
	if o.Every == 0 {
		o.Every = time.Second
	}
	p := &publisher{o: o, up: make(chan struct{}, 1), sent: map[string][]byte{}}
	conn, cancel := context.WithCancel(context.WithoutCancel(ctx)) // outlives ctx by the last words
	defer cancel()
	cm, err := autopaho.NewConnection(conn, p.config())
	if err != nil { // the configuration was checked before
		o.Log.Error("nothing is published over MQTT", "broker", o.Broker.Redacted(), "error", err)
		return
	}
	tick := time.NewTicker(o.Every)
	defer tick.Stop()
	online := false
	for {
		select {
		case <-ctx.Done():
			if online {
				p.part(conn, cm)
			}
			return
		case <-p.up:
			online = true
			clear(p.sent) // the broker may have lost what it kept
			p.publish(ctx, cm)
		case <-tick.C:
			if online {
				p.publish(ctx, cm)
			}
		}
	}
}

// publisher keeps what the broker has, so that only changes are sent.
type publisher struct {
	o       Options
	up      chan struct{} // holds one notice that the connection came up
	sent    map[string][]byte
	failing bool // the failure at hand is in the log; touched by autopaho's goroutine alone
}

func (p *publisher) config() autopaho.ClientConfig {
	return autopaho.ClientConfig{
		ServerUrls: []*url.URL{p.o.Broker}, TlsCfg: p.o.TLS, KeepAlive: keepAlive,
		CleanStartOnInitialConnection: true, ConnectTimeout: sendTimeout,
		ReconnectBackoff: autopaho.NewExponentialBackoff(500*time.Millisecond, time.Minute, 2*time.Second, 2),
		ConnectUsername:  p.o.User, ConnectPassword: []byte(p.o.Password),
		WillMessage: &paho.WillMessage{Topic: p.o.availability(), Payload: []byte("offline"), QoS: qos, Retain: true},
		OnConnectionUp: func(*autopaho.ConnectionManager, *paho.Connack) {
			p.failing = false
			p.o.Log.Info("publishing over MQTT", "broker", p.o.Broker.Redacted())
			select {
			case p.up <- struct{}{}:
			default:
			}
		},
		OnConnectError: func(err error) {
			if !p.failing {
				p.failing = true
				p.o.Log.Warn("the MQTT broker cannot be reached; trying again", "broker", p.o.Broker.Redacted(),
					"error", err)
			}
		},
		ClientConfig: paho.ClientConfig{ClientID: "tramd-" + identifier(p.o.Machine), PacketTimeout: sendTimeout},
	}
}

// publish sends what has changed since it was last sent. What fails is sent again at the next look.
func (p *publisher) publish(ctx context.Context, cm *autopaho.ConnectionManager) {
	ctx, cancel := context.WithTimeout(ctx, sendTimeout)
	defer cancel()
	s, err := p.o.Live.Snapshot(ctx)
	if err != nil || s == nil {
		return
	}
	list := append(p.o.Announcements(s), p.o.States(s)...)
	list = append(list, Message{p.o.availability(), []byte("online")}) // last, so that readers find the states complete
	for _, m := range list {
		if bytes.Equal(p.sent[m.Topic], m.Payload) {
			continue
		}
		if send(ctx, cm, m) != nil {
			return
		}
		p.sent[m.Topic] = m.Payload
	}
}

func send(ctx context.Context, cm *autopaho.ConnectionManager, m Message) error {
	_, err := cm.Publish(ctx, &paho.Publish{Topic: m.Topic, Payload: m.Payload, QoS: qos, Retain: true})
	return err
}

// part says that the machine is offline and leaves the broker; both in little time, since the daemon is stopping.
func (p *publisher) part(conn context.Context, cm *autopaho.ConnectionManager) {
	ctx, cancel := context.WithTimeout(conn, lastWords)
	defer cancel()
	if send(ctx, cm, Message{p.o.availability(), []byte("offline")}) == nil {
		_ = cm.Disconnect(ctx)
	}
}
