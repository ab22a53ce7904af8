package main

import (
	"context"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"math"
	"net"
	"net/http"
	"strconv"
	"sync"
	"time"

	"tramd/cmd/tramd/internal/sim"
)

// demoHead is the simulated head: what its adjusters were moved by, and what of that was not logged yet. The visitor
// moves it on a page of its own; the demo's own person by what the advice says.
type demoHead struct {
	machine *sim.Machine
	log     func(ctx context.Context, moved map[string]float64) error

	mu       sync.Mutex
	at       map[string]float64 // mm, of each adjuster since the start
	unlogged map[string]float64
	touched  time.Time // when the visitor moved something last
}

// demoTravel is how far each adjuster goes either way, mm: the swing to its stops, the shims as far as the stock lasts.
var demoTravel = map[string]float64{"swing": 0.5, "lower shim": 0.4}

// demoTilts is what one mm of an adjuster is believed to do, mm/m.
var demoTilts = map[string][2]float64{"swing": {demoSwing, 0}, "lower shim": {0, demoShim}}

func newDemoHead(m *sim.Machine, log func(ctx context.Context, moved map[string]float64) error) *demoHead {
	return &demoHead{machine: m, log: log, at: map[string]float64{}, unlogged: map[string]float64{}}
}

// turn moves one adjuster, no further than it goes, and returns by how much it moved.
func (h *demoHead) turn(adjuster string, by float64) float64 {
	most, ok := demoTravel[adjuster]
	if !ok || math.IsNaN(by) {
		return 0
	}
	to := math.Round(1e4*min(max(h.at[adjuster]+by, -most), most)) / 1e4
	by = to - h.at[adjuster]
	h.at[adjuster] = to
	h.machine.Adjust(demoTilts[adjuster][0]*by, demoTilts[adjuster][1]*by)
	return by
}

// byHand moves an adjuster as the visitor does, before he logs it.
func (h *demoHead) byHand(adjuster string, by float64) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.touched = time.Now()
	h.unlogged[adjuster] += h.turn(adjuster, by)
}

// logged moves the adjusters by what somebody logged, less what they were moved by already.
func (h *demoHead) logged(moved map[string]float64) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for adjuster, by := range moved {
		h.turn(adjuster, by-h.unlogged[adjuster])
		delete(h.unlogged, adjuster)
	}
}

// adjusted returns where the adjusters are, and when the visitor moved one last.
func (h *demoHead) adjusted() (swung, packed float64, touched time.Time) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.at["swing"], h.at["lower shim"], h.touched
}

//go:embed demo_head.html
var demoHeadText string

const demoHeadStyle = `body{font:17px/1.4 system-ui,sans-serif;max-width:34em;margin:0 auto;padding:12px;color:#1b1f24;background:#fff}
button{font:inherit;min-height:44px;min-width:60px;margin:3px}form{display:inline}h1{font-size:1.3em}h2{font-size:1.1em;margin-bottom:0}`

var demoHeadPage = template.Must(template.New("head").Parse(demoHeadText))

// demoPoints are where the arm can be parked, degrees.
var demoPoints = []struct {
	Name string
	Deg  float64
}{{"right", 0}, {"back", 90}, {"left", 180}, {"front", 270}}

// serve answers on listen until ctx ends, and returns the address.
func (h *demoHead) serve(ctx context.Context, listen, linnet string) (net.Addr, error) {
	l, err := net.Listen("tcp", listen)
	if err != nil {
		return nil, err
	}
	mux := http.NewServeMux()
	sum := sha256.Sum256([]byte(demoHeadStyle))
	policy := "default-src 'none'; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) +
		"'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
	mux.HandleFunc("GET /{$}", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Security-Policy", policy)
		w.Header().Set("Cache-Control", "no-store")
		_ = demoHeadPage.Execute(w, h.shown(linnet)) // a reader who went away needs no page
	})
	act := func(do func(r *http.Request) error) http.HandlerFunc {
		return func(w http.ResponseWriter, r *http.Request) {
			r.Body = http.MaxBytesReader(w, r.Body, 4096)
			if err := do(r); err != nil {
				http.Error(w, err.Error(), http.StatusBadRequest)
				return
			}
			http.Redirect(w, r, "/", http.StatusSeeOther)
		}
	}
	mux.HandleFunc("POST /move", act(func(r *http.Request) error {
		by, err := strconv.ParseFloat(r.FormValue("by"), 64)
		adjuster := r.FormValue("adjuster")
		if _, ok := demoTravel[adjuster]; err != nil || !ok || math.IsNaN(by) {
			return fmt.Errorf("move one of swing and lower shim by a number of mm")
		}
		h.byHand(adjuster, by)
		return nil
	}))
	mux.HandleFunc("POST /turn", act(func(r *http.Request) error {
		deg, err := strconv.ParseFloat(r.FormValue("to"), 64)
		if err != nil || math.IsNaN(deg) || math.IsInf(deg, 0) {
			return fmt.Errorf("turn the arm to a number of degrees")
		}
		h.machine.Turn(math.Remainder(deg-h.machine.Angle(), 360)/360, 10)
		return nil
	}))
	mux.HandleFunc("POST /log", act(func(r *http.Request) error { return h.logAll(r.Context()) }))
	server := &http.Server{Handler: http.NewCrossOriginProtection().Handler(mux), ReadHeaderTimeout: 5 * time.Second,
		WriteTimeout: 10 * time.Second}
	go func() { _ = server.Serve(l) }() // it ends when it is closed
	context.AfterFunc(ctx, func() { _ = server.Close() })
	return l.Addr(), nil
}

// logAll logs what the visitor has moved.
func (h *demoHead) logAll(ctx context.Context) error {
	h.mu.Lock()
	moved := map[string]float64{}
	for adjuster, by := range h.unlogged {
		if by = math.Round(1e4*by) / 1e4; by != 0 {
			moved[adjuster] = by
		}
	}
	h.mu.Unlock()
	if len(moved) == 0 {
		return fmt.Errorf("nothing was moved since the last entry")
	}
	return h.log(ctx, moved)
}

type demoHeadShown struct {
	Style     template.CSS
	Linnet    string
	Adjusters []demoAdjusterShown
	Steps     []string
	Points    any
	Arm       string
}

type demoAdjusterShown struct{ Name, At, Most, Unlogged string }

func (h *demoHead) shown(linnet string) demoHeadShown {
	h.mu.Lock()
	defer h.mu.Unlock()
	out := demoHeadShown{Style: demoHeadStyle, Linnet: linnet, Steps: []string{"-0.1", "-0.02", "-0.005", "+0.005",
		"+0.02", "+0.1"}, Points: demoPoints,
		Arm: fmt.Sprintf("%.0f", math.Mod(math.Mod(h.machine.Angle(), 360)+360, 360))}
	for _, name := range []string{"swing", "lower shim"} {
		out.Adjusters = append(out.Adjusters, demoAdjusterShown{
			name, fmt.Sprintf("%+.3f", h.at[name]), fmt.Sprintf("%.1f", demoTravel[name]),
			fmt.Sprintf("%+.3f", h.unlogged[name]),
		})
	}
	return out
}
