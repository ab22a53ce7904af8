package metrics

import (
	"log/slog"
	"net/http"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// Registry holds the collector and those of the Go runtime and the process, and nothing that a library registered
// behind our back.
func Registry(o Options) *prometheus.Registry {
	r := prometheus.NewRegistry()
	r.MustRegister(
		NewCollector(o),
		collectors.NewGoCollector(),
		collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}),
	)
	return r
}

// Handler serves the scrape, in OpenMetrics 1.0 to those who ask for it. A failed scrape answers 500 with the reason.
func Handler(o Options, log *slog.Logger) http.Handler {
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	return promhttp.HandlerFor(Registry(o), promhttp.HandlerOpts{
		ErrorLog:            scrapeLog{log},
		ErrorHandling:       promhttp.HTTPErrorOnError,
		MaxRequestsInFlight: 4,
		EnableOpenMetrics:   true,
	})
}

// scrapeLog lets the scrape handler speak through slog.
type scrapeLog struct{ log *slog.Logger }

func (l scrapeLog) Println(v ...any) { l.log.Warn("scrape failed", "why", v) }
