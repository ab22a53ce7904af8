package web

import (
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
)

// barredWren is the bench mill with two indicators on a bar, not zeroed.
func barredWren() *api.Snapshot {
	s := quietWren()
	s.Devices = []api.DeviceState{
		{Name: "near", Role: "indicator", State: "live", ReadingMM: ptr(1.3)},
		{Name: "far", Role: "indicator", State: "live", ReadingMM: ptr(1.1)},
	}
	s.Paired, s.Clock.Set = true, true
	return s
}

// A pair is zeroed by half a turn from the page, and its lean shown with the age of the zero, which the person can give
// up.
func TestPageZeroesAPairByHalfATurn(t *testing.T) {
	t.Parallel()
	axe, err := os.ReadFile("testdata/axe/axe.min.js")
	if err != nil {
		t.Fatal(err)
	}
	ctx := browser(t)
	said := complaints(t, ctx)
	s := newStage(t, hashed(t))
	s.show(still(barredWren()))
	open(t, ctx, s.url+"/adjust?unit=mm_per_m", 360, 800, "light")
	until(t, ctx, `!document.querySelector("#beam").hidden && !document.querySelector("#half-tilt").disabled
		&& document.querySelector("#beam-live").classList.contains("gone") && document.querySelector("#beam-zero").textContent.startsWith("Not zeroed")
		&& document.querySelector("#beam .caution").innerText.includes("Isolate the spindle’s power")`)
	logIn(t, ctx)
	press := func(id, did string) {
		t.Helper()
		until(t, ctx, fmt.Sprintf(`(b => !b.disabled && b.offsetParent !== null)(document.querySelector("#%s"))`, id))
		tap(t, ctx, fmt.Sprintf(`"#%s"`, id))
		s.did(t, did)
	}
	press("half-nod", `half turn "nod"`)
	until(
		t, ctx,
		`document.querySelector("#beam-answer").textContent.startsWith("Half turn, run 9, has begun") && document.querySelector("#v-adjust").hidden`)

	taking := barredWren()
	taking.Sweep = api.SweepState{Phase: api.PhaseTurning, Run: 9, Kind: api.HalfTurn,
		Say:      "Read. Now turn the spindle half a turn by hand, near to 270° (front), let go and keep still.",
		Stations: []api.StationState{{Deg: 90, State: "taken", ReadingMM: ptr(1.3)}, {Deg: 270, State: "here"}}}
	taking.Angle.Source = "encoder"
	s.show(still(taking))
	until(
		t, ctx,
		`document.querySelector("#take").innerText === "Read here" && document.querySelector("#skip").disabled && document.querySelector("#half-tilt").disabled`)
	press("take", "take 9")

	zeroed := barredWren()
	zeroed.Pair = &api.PairState{Run: 9, Kind: api.HalfTurn, At: zeroed.At.Add(-5 * time.Minute), First: "near",
		Less: "far", ZeroMM: 0.2, ZeroU: 0.0014,
		Deg: ptr(270.0), Told: true, MMPerM: ptr(-0.1234), U: 0.012, Half: 0.031, DiffMM: -0.0308,
		Tilt: &api.PairAxis{MMPerM: 0.05, Half: 0.03, At: zeroed.At.Add(-3 * time.Hour)},
		Nod:  &api.PairAxis{MMPerM: 0.1234, Half: 0.031, At: zeroed.At}}
	s.show(still(zeroed))
	for _, look := range []struct {
		width  int64
		scheme string
	}{{360, "light"}, {360, "dark"}, {1280, "dark"}} {
		open(t, ctx, s.url+"/adjust", look.width, 800, look.scheme)
		until(
			t, ctx,
			`document.querySelector("#beam-digits").innerText === "−0.123" && document.querySelector("#beam-expanded").innerText === "± 0.031 mm/m"
			&& document.querySelector("#beam-words").innerText === "The upper end leans back, to far, by 0.123 mm/m along the bar."
			&& document.querySelector("#beam-axes").innerText.includes("Tilt +0.050 ± 0.030 mm/m, read 3 h ago")
			&& document.querySelector("#beam-zero").innerText.startsWith("Zeroed by half turn 9, 5 min ago: with no lean, near less far reads 0.2000 mm (u 0.0014 mm). Now −0.0308 mm from that.")
			&& document.querySelector("#beam-drawing").textContent.includes("near, front") && document.querySelector("#beam-drawing").textContent.includes("far, back")`)
		// The end the spindle leans to is the lower one: here the left.
		if y := eval[[]float64](t, ctx,
			`[...document.querySelectorAll("#beam-drawing .foot")].map(c => Number(c.getAttribute("cy")))`); len(
			y) != 2 || y[0] >= y[1]-20 {
			t.Errorf("the bar's ends are drawn at %v", y)
		}
		eval[bool](t, ctx, `document.querySelector("#beam").scrollIntoView() ?? true`)
		picture(t, ctx, fmt.Sprintf("beam-%d-%s", look.width, look.scheme))
		for what, found := range map[string]string{"too small": eval[string](t, ctx, tooSmall),
			"cut off": eval[string](t, ctx, cutOff)} {
			if found != "" {
				t.Errorf("%d: %s: %s", look.width, what, found)
			}
		}
	}
	for _, fault := range faults(t, ctx, string(axe)) {
		t.Error(fault)
	}
	zeroed.Pair.MMPerM, zeroed.Pair.Why = nil, "No fresh reading of both indicators, inside their travel."
	s.show(still(zeroed))
	until(
		t, ctx,
		`document.querySelector("#beam-digits").innerText === "–" && document.querySelector("#beam-words").innerText.startsWith("No fresh reading")`)
	press("bar-moved", "forget the pair")
	if list := said(); len(list) > 0 {
		t.Errorf("the browser complained:\n%s", strings.Join(list, "\n"))
	}
}
