package web

import (
	"log/slog"
	"net/http"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/peerlimit"
)

// server is a Handler's state.
type server struct {
	Options
	hub     *hub
	imports *importLimits
	reads   *peerlimit.Limit
	login   *login
	timeout time.Duration // for one event of a stream

	answerTimeout time.Duration // for one piece of any other answer
}

// Handlers serve the page and the API, on the network and on the local socket; their streams share what is made for
// them. Close Options.Done before the server ends, since a stream has no end of its own.
func Handlers(o Options) (network, local http.Handler) {
	o.Local = false
	n := newServer(o)
	o.Local = true
	l := newServer(o)
	l.hub, l.imports = n.hub, n.imports
	return n.handler(), l.handler()
}

func newServer(o Options) *server {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	s := &server{Options: o, hub: newHub(o.Live, o.Indicators, o.Log), imports: newImportLimits(),
		reads: peerlimit.New(maxReads, maxReadsPerPeer), login: newLogin(o.PasswordHash), timeout: writeTimeout,
		answerTimeout: answerTimeout}
	if s.login.hashErr != nil {
		o.Log.Error("no login is possible", "why", s.login.hashErr)
	}
	return s
}

func (s *server) handler() http.Handler {
	mux := http.NewServeMux()
	s.routes(func(pattern string, h http.HandlerFunc) { mux.HandleFunc(pattern, h) })

	cross := http.NewCrossOriginProtection()
	cross.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		s.fail(w, api.Forbidden.New("refused: the request came from a page of another site; open tramd's own page"))
	}))
	h := cross.Handler(s.refuseUnknown(mux))
	h = limitBody(h)
	if !s.Local {
		h = s.allowHosts(h)
	}
	return secureHeaders(s.limitAnswer(h))
}

// routes calls add for each address that is served. What a program may use of them is described in openapi.json.
func (s *server) routes(add func(pattern string, h http.HandlerFunc)) {
	add("GET /{$}", s.page("now"))
	for _, view := range views[1:] {
		add("GET /"+view, s.page(view))
	}
	add("GET /runs/{id}", s.page("runs"))
	add("GET /runbook", s.runbook)
	add("GET /assets/{name}", s.asset)
	add("GET /app.webmanifest", s.webApp)
	add("GET /api/v1/live", s.live)
	add("GET /api/v1/advice", s.limitReads(s.answer(s.advice)))
	add("GET /job.html", s.limitReads(s.sheet(s.JobSheet)))
	add("GET /report.html", s.limitReads(s.sheet(s.Report)))
	add("GET /calendar.ics", s.limitReads(s.calendar))
	add("GET /api/v1/runs", s.limitReads(s.answer(s.runs)))
	add("GET /api/v1/runs/{id}", s.limitReads(s.answer(s.run)))
	add("GET /api/v1/runs/{id}/readings.csv", s.limitReads(s.readings))
	add("GET /api/v1/runs/{id}/curve", s.limitReads(s.answer(s.storedCurve)))
	add("GET /api/v1/runs/{id}/measured", s.limitReads(s.answer(s.measured)))
	add("GET /api/v1/runs/{id}/picture.svg", s.limitReads(s.runPicture))
	add("GET /api/v1/job", s.limitReads(s.answer(s.job)))
	add("GET /api/v1/chain.svg", s.limitReads(s.chainPicture))
	add("GET /api/v1/qr.svg", s.qr)
	add("GET /api/v1/runs/{id}/separate", s.limitReads(s.answer(s.separate)))
	add("GET /api/v1/drift", s.limitReads(s.answer(s.drift)))
	add("POST /api/v1/sweeps", s.changes(s.startSweep))
	add("POST /api/v1/measurements", s.changes(s.startMeasurement))
	add("DELETE /api/v1/sweeps/{id}", s.changes(s.abandonSweep))
	add("POST /api/v1/sweeps/{id}/take", s.changes(s.takeStation))
	add("POST /api/v1/sweeps/{id}/skip", s.changes(s.skipStation))
	add("POST /api/v1/sweeps/{id}/redo", s.changes(s.redoStation))
	add("POST /api/v1/sweeps/{id}/reading", s.changes(s.putReading))
	add("POST /api/v1/zero", s.changes(s.answer(s.pointZero)))
	add("DELETE /api/v1/zero", s.changes(s.answer(s.forgetZero)))
	add("POST /api/v1/pair", s.changes(s.startHalfTurn))
	add("DELETE /api/v1/pair", s.changes(s.forgetPair))
	add("POST /api/v1/runs/{id}/refit", s.changes(s.answer(s.refit)))
	add("POST /api/v1/motion/arm", s.changes(s.armMotion))
	add("DELETE /api/v1/motion/arm", s.changes(s.disarmMotion))
	add("POST /api/v1/motion/start", s.changes(s.startMotion))
	add("POST /api/v1/motion/hold", s.changes(s.holdKey))
	add("POST /api/v1/motion/release", s.changes(s.letGoKey))
	add("POST /api/v1/motion/hold/{id}", s.changes(s.holdMotion))
	add("POST /api/v1/imports", s.changes(s.importSweep))
	add("GET /api/v1/events", s.limitReads(s.answer(s.events)))
	add("POST /api/v1/events", s.changes(s.addEvent))
	add("DELETE /api/v1/events/{id}", s.changes(s.answer(s.undoEvent)))
	add("GET /api/v1/login", s.whoami)
	add("POST /api/v1/login", s.logIn)
	add("POST /api/v1/logout", s.logOut)
	add("GET /api/v1/openapi.json", s.openAPI)
	add("GET /healthz", s.healthz)
	if s.Metrics != nil {
		add("GET /metrics", s.Metrics.ServeHTTP)
	}
}
