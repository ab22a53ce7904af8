package web

import (
	"context"
	"io"
	"log/slog"
	"net/http"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep"
	"tramd/sweep/drift"
)

// Live is where the present state comes from.
type Live interface {
	Snapshot(ctx context.Context) (*api.Snapshot, error)
}

// Records is what was stored. An id that is not there gives an error of the kind api.NotFound.
type Records interface {
	Runs(ctx context.Context, before int64, limit int) ([]api.Run, error) // newest first; before 0 is from the newest
	Run(ctx context.Context, id int64) (api.Run, error)
	WriteReadingsCSV(ctx context.Context, id int64, w io.Writer) error // t_s,angle_deg,reading_mm,indicator
	AddEvent(ctx context.Context, e api.NewEvent) (int64, error)
	// the last stored first, with those that were taken back
	Events(ctx context.Context, limit int) ([]api.Event, error)
	UndoEvent(ctx context.Context, id int64) error
}

// Sheet is a page that is whole in itself, to be printed; Policy is what a browser may do with it.
type Sheet struct {
	Policy string
	Write  func(ctx context.Context, w io.Writer) error
}

// Drift is what the stored checks come to, as the page draws it.
type Drift interface {
	Drift(ctx context.Context) (*drift.View, error)
}

// Sweeps starts and steers the one sweep there can be.
type Sweeps interface {
	Start(ctx context.Context, turns int, purpose string) (run int64, err error)
	Abandon(ctx context.Context, run int64) error
	Take(ctx context.Context, run int64) error                        // take the reading at this station now
	Skip(ctx context.Context, run int64) error                        // leave this station out
	Redo(ctx context.Context, run int64, station int) error           // take a station again; negative is the last
	Put(ctx context.Context, run int64, indicator, text string) error // a reading that a person read and typed
	StartHalfTurn(ctx context.Context, axis string) (run int64, err error)
	ForgetPair(ctx context.Context) error
}

// Temperature takes the machine's temperature in degrees Celsius, as a person read and typed it; runs that begin soon
// after are stored with it.
type Temperature interface {
	Set(celsius float64) error
}

// Motion moves the arm by a program, in two acts: arming, and a start with the key that it gave.
type Motion interface {
	Arm(ctx context.Context, unattended time.Duration) (api.Armed, error)
	Disarm(ctx context.Context) error
	StartMotion(ctx context.Context, key, purpose string) (run int64, err error)

	// The client that starts a motion holds it by signs of life; without one in time, or let go, the arm is stopped.
	// The page names the key, a terminal the run.
	Hold(ctx context.Context, key string) error
	LetGo(ctx context.Context, key string) error
	HoldMotion(ctx context.Context, run int64) error
	LetGoMotion(run int64)
}

// Steps moves an axis along a traverse in the same two acts; what holds the arm's motion and stops it, holds and stops
// this one.
type Steps interface {
	ArmSteps(ctx context.Context, w api.Wanted) (api.Armed, error)
	StartSteps(ctx context.Context, key string, w api.Wanted) (run int64, err error)
}

// Imports brings recorded sweeps (CSV) into the store.
type Imports interface {
	Import(ctx context.Context, csv io.Reader, of api.Recorded) (api.Imported, error)
}

// Options are the parts a Handler is made of. A nil part answers 503 (Metrics: 404) and the rest still works.
type Options struct {
	Live        Live
	Records     Records
	Sweeps      Sweeps
	Zeros       Zeros
	Temperature Temperature
	Imports     Imports
	Assembly    Assembly
	Refits      Refits
	Motion      Motion
	Steps       Steps
	Drift       Drift
	// the spindle apart from a loose plate
	Separate func(ctx context.Context, first, turned int64) (api.Separated, error)
	// begins a traverse, a bar or a travel; its run is steered as a sweep's is
	Measure func(ctx context.Context, w api.Wanted) (run int64, err error)
	Advice  func(ctx context.Context) (api.Advice, error) // what to move next
	// the record of the last job; without Write there is none
	JobSheet Sheet
	// the maintenance report; without Write there is none
	Report     Sheet
	Metrics    http.Handler
	Indicators []sweep.Indicator // by index, for the fitted curve; without them only the points are drawn
	// that figures are first shown in: mm, inch or arcsec; "" is as the tolerance is written
	Units        string
	Hosts        []string             // further names this machine may be called by
	OpenLoopback bool                 // requests from this computer itself may change things without a password
	PasswordHash string               // bcrypt; "" means nothing can be changed over TCP
	ClientCerts  bool                 // a client certificate that TLS verified is as good as a login
	KindOf       func(error) api.Kind // of an error of the record. nil: of no error
	Log          *slog.Logger
	Local        bool            // the local socket: no login and no list of hosts
	Done         <-chan struct{} // closed at shutdown: streams end, so that the server can; nil means never
}
