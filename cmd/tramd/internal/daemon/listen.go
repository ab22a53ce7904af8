package daemon

import (
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"time"

	"tramd/cmd/tramd/internal/jobsheet"
	"tramd/cmd/tramd/internal/metrics"
	"tramd/cmd/tramd/internal/report"
	"tramd/cmd/tramd/internal/runs"
	"tramd/cmd/tramd/internal/session"
	"tramd/cmd/tramd/internal/web"
)

// listen takes the addresses before anything is served, so that a taken one is an error and not a surprise.
func (d *Daemon) listen() error {
	var secure *tls.Config
	if d.secrets.certs != nil {
		secure = d.secrets.certs.TLS
	}
	tcp, err := net.Listen("tcp", d.cfg.HTTP.Listen)
	if err != nil {
		if who := holderOf("/proc", d.cfg.HTTP.Listen, err); who != "" {
			err = fmt.Errorf("%w, %s", err, who)
		}
		return fmt.Errorf("cannot serve the page on %s: %w; write another http.listen", d.cfg.HTTP.Listen, err)
	}
	unix, err := listenSocket(d.cfg.Control.Socket)
	if err != nil {
		return errors.Join(err, tcp.Close())
	}
	common := web.Options{
		Live: d.session, Records: d.service, Drift: d.service, Sweeps: d.session, Zeros: d.session,
		Temperature: d.thermometer, Motion: d.session, Steps: d.service, Imports: d.service, Refits: d.service,
		Indicators: d.cfg.Setup().Indicators,
		Metrics: metrics.Handler(metrics.Options{Live: session.Unwatched{Session: d.session}, Version: d.o.Version,
			Page: d.cfg.Page(), Free: d.record.Store.Free, Assembly: d.history.Assembly}, d.o.Log),
		Hosts:        d.cfg.HTTP.Hosts,
		PasswordHash: d.secrets.hash, OpenLoopback: d.cfg.HTTP.OpenLoopback,
		ClientCerts: d.cfg.HTTP.ClientCA != "", Units: d.cfg.Display.Units, KindOf: runs.KindOf, Log: d.o.Log,
		Done:     d.done,
		Separate: d.service.Separate, Measure: d.service.Measure, Assembly: d.service, Advice: d.service.Advice,
		JobSheet: web.Sheet{Policy: jobsheet.ContentPolicy(), Write: d.service.WriteJobSheet},
		Report:   web.Sheet{Policy: report.ContentPolicy(), Write: d.service.WriteReport},
	}
	network, local := web.Handlers(common)
	for _, s := range []struct {
		listen  net.Listener
		handler http.Handler
		tls     *tls.Config
	}{{newLimited(tcp), network, secure}, {unix, local, nil}} {
		h := httpServer(s.handler, d.o.Log)
		h.TLSConfig = s.tls
		serve := h.Serve
		if s.tls != nil {
			serve = func(l net.Listener) error { return h.ServeTLS(l, "", "") }
		}
		d.servers = append(d.servers, server{h, s.listen, serve})
	}
	return nil
}

// What one request may cost.
const (
	headerTimeout = 5 * time.Second // the handshake of TLS too
	bodyTimeout   = 15 * time.Second
	idleTimeout   = 60 * time.Second
	maxHeader     = 16 << 10
)

func httpServer(h http.Handler, log *slog.Logger) *http.Server {
	return &http.Server{
		Handler:           h,
		ReadHeaderTimeout: headerTimeout,
		ReadTimeout:       bodyTimeout, // no WriteTimeout: each piece of an answer has its own deadline
		IdleTimeout:       idleTimeout,
		MaxHeaderBytes:    maxHeader,
		ErrorLog:          slog.NewLogLogger(log.Handler(), slog.LevelDebug),
	}
}

func (d *Daemon) pageAddress() string {
	scheme := "http://"
	if d.cfg.HTTP.Encrypted() {
		scheme = "https://"
	}
	return scheme + d.servers[0].listen.Addr().String() + "/"
}
