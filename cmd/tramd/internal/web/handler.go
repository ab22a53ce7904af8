package web

import (
	"log/slog"
	"net/http"
	"time"

	"tramd/cmd/tramd/internal/peerlimit"
)

// server is a Handler's state.
type server struct {
	Options
	hub      *hub
	imports  *importLimits
	reads    *peerlimit.Limit
	login    *login
	patience time.Duration // for one event of a stream

	answerPatience time.Duration // for one piece of any other answer
}

// Handler serves the page and the API. Connect its Done to http.Server.RegisterOnShutdown, since a stream has no end of its own.
func Handler(o Options) http.Handler {
	return newServer(o).handler()
}

// Handlers are the Handlers of the network and of the local socket, whose streams share what is made for them.
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
	s := &server{Options: o, hub: newHub(o.Live, o.Indicators, o.Log), imports: newImportLimits(), reads: peerlimit.New(maxReads, maxReadsPerPeer), login: newLogin(o.PasswordHash), patience: writePatience, answerPatience: answerPatience}
	if s.login.hashErr != nil {
		o.Log.Error("nobody can log in", "why", s.login.hashErr)
	}
	return s
}

func (s *server) handler() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", s.page("now"))
	for _, view := range views[1:] {
		mux.HandleFunc("GET /"+view, s.page(view))
	}
	mux.HandleFunc("GET /runs/{id}", s.page("runs"))
	mux.HandleFunc("GET /runbook", s.runbook)
	mux.HandleFunc("GET /assets/{name}", s.asset)
	mux.HandleFunc("GET /api/v1/live", s.live)
	mux.HandleFunc("GET /api/v1/advice", s.limitReads(s.advice))
	mux.HandleFunc("GET /job.html", s.limitReads(s.sheet(s.JobSheet)))
	mux.HandleFunc("GET /report.html", s.limitReads(s.sheet(s.Report)))
	mux.HandleFunc("GET /calendar.ics", s.limitReads(s.calendar))
	mux.HandleFunc("GET /api/v1/runs", s.limitReads(s.runs))
	mux.HandleFunc("GET /api/v1/runs/{id}", s.limitReads(s.run))
	mux.HandleFunc("GET /api/v1/runs/{id}/readings.csv", s.limitReads(s.readings))
	mux.HandleFunc("GET /api/v1/runs/{id}/curve", s.limitReads(s.storedCurve))
	mux.HandleFunc("GET /api/v1/runs/{id}/measured", s.limitReads(s.measured))
	mux.HandleFunc("GET /api/v1/runs/{id}/picture.svg", s.limitReads(s.runPicture))
	mux.HandleFunc("GET /api/v1/job", s.limitReads(s.job))
	mux.HandleFunc("GET /api/v1/chain.svg", s.limitReads(s.chainPicture))
	mux.HandleFunc("GET /api/v1/qr.svg", s.qr)
	mux.HandleFunc("GET /api/v1/runs/{id}/separate", s.limitReads(s.separate))
	mux.HandleFunc("GET /api/v1/drift", s.limitReads(s.drift))
	mux.HandleFunc("POST /api/v1/sweeps", s.changes(s.startSweep))
	mux.HandleFunc("POST /api/v1/measurements", s.changes(s.startMeasurement))
	mux.HandleFunc("DELETE /api/v1/sweeps/{id}", s.changes(s.abandonSweep))
	mux.HandleFunc("POST /api/v1/sweeps/{id}/take", s.changes(s.takeStation))
	mux.HandleFunc("POST /api/v1/sweeps/{id}/skip", s.changes(s.skipStation))
	mux.HandleFunc("POST /api/v1/sweeps/{id}/redo", s.changes(s.redoStation))
	mux.HandleFunc("POST /api/v1/sweeps/{id}/reading", s.changes(s.putReading))
	mux.HandleFunc("POST /api/v1/zero", s.changes(s.pointZero))
	mux.HandleFunc("DELETE /api/v1/zero", s.changes(s.forgetZero))
	mux.HandleFunc("POST /api/v1/pair", s.changes(s.startHalfTurn))
	mux.HandleFunc("DELETE /api/v1/pair", s.changes(s.forgetPair))
	mux.HandleFunc("POST /api/v1/runs/{id}/refit", s.changes(s.refit))
	mux.HandleFunc("POST /api/v1/motion/arm", s.changes(s.armMotion))
	mux.HandleFunc("DELETE /api/v1/motion/arm", s.changes(s.disarmMotion))
	mux.HandleFunc("POST /api/v1/motion/start", s.changes(s.startMotion))
	mux.HandleFunc("POST /api/v1/motion/hold", s.changes(s.holdKey))
	mux.HandleFunc("POST /api/v1/motion/release", s.changes(s.letGoKey))
	mux.HandleFunc("POST /api/v1/motion/hold/{id}", s.changes(s.holdMotion))
	mux.HandleFunc("POST /api/v1/imports", s.changes(s.importSweep))
	mux.HandleFunc("GET /api/v1/events", s.limitReads(s.answer(s.events)))
	mux.HandleFunc("POST /api/v1/events", s.changes(s.addEvent))
	mux.HandleFunc("DELETE /api/v1/events/{id}", s.changes(s.answer(s.undoEvent)))
	mux.HandleFunc("GET /api/v1/login", s.whoami)
	mux.HandleFunc("POST /api/v1/login", s.logIn)
	mux.HandleFunc("POST /api/v1/logout", s.logOut)
	mux.HandleFunc("GET /healthz", s.healthz)
	if s.Metrics != nil {
		mux.Handle("GET /metrics", s.Metrics)
	}

	cross := http.NewCrossOriginProtection()
	cross.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		s.fail(w, problem{http.StatusForbidden, "refused: the request came from a page of another site; open tramd's own page"})
	}))
	h := cross.Handler(mux)
	h = limitBody(h)
	if !s.Local {
		h = s.allowHosts(h)
	}
	return secureHeaders(s.limitAnswer(h))
}
