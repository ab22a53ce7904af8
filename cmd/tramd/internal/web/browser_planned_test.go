package web

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
)

// The next check that is taken by itself: when, whether the arm may move for it, and what stands in its way; one that
// was missed stands at the top with its reason.
func TestAPlannedCheckOnThePage(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	said := complaints(t, ctx)
	s := newStage(t, "")
	next := time.Now().Add(5*time.Hour + 10*time.Minute)
	until6 := next.Add(time.Hour)
	local := func(at time.Time) string { return at.Format("2006-01-02 15:04") }
	armed := linnet(0)
	armed.Sweep = api.SweepState{Phase: api.PhaseIdle}
	armed.Angle.ArmedUntil = &until6
	armed.Check = &api.CheckState{Next: next.Format(time.RFC3339), Moves: true, WhyNot: []string{}}
	missed := linnet(0)
	missed.Sweep = api.SweepState{Phase: api.PhaseIdle}
	missed.Troubles = map[string]string{
		"check": "the check of 2026-03-02 06:00 was not begun: it is not armed: tramd arm"}
	missed.Check = &api.CheckState{Next: next.Format(time.RFC3339), Moves: true,
		Say: "the check of 2026-03-02 06:00 was not begun: it is not armed: tramd arm",
		WhyNot: []string{"it is not armed: tramd arm",
			"indicator arm is outside its travel: 0.950 mm, allowed are 0.100 to 0.900 mm"}}
	for _, scene := range []struct {
		name    string
		state   *api.Snapshot
		all     []string
		notices string
	}{
		{"armed", armed, []string{"Next planned check: " + local(next) + ", in 5 h.", "Armed until " + local(until6) +
			": the arm moves by itself"}, "Armed: the arm moves by itself at " + local(next) + ". Keep clear of it."},
		{"missed", missed, []string{"Not armed: nothing will move.", "Not as things are: it is not armed: tramd arm.",
			"0.950 mm", "Last: the check of 2026-03-02 06:00 was not begun"}, "was not begun: it is not armed"},
	} {
		s.show(still(scene.state))
		for _, scheme := range []string{"light", "dark"} {
			open(t, ctx, s.url+"/history", 360, 800, scheme)
			until(t, ctx, `document.querySelector("#planned").offsetParent !== null`)
			words, notices := eval[string](t, ctx, `document.querySelector("#planned").innerText`),
				eval[string](t, ctx, `document.querySelector("#notices").innerText`)
			for _, want := range scene.all {
				if !strings.Contains(words, want) {
					t.Errorf("%s: no %q in %q", scene.name, want, words)
				}
			}
			if !strings.Contains(notices, scene.notices) {
				t.Errorf("%s: no %q among the notices %q", scene.name, scene.notices, notices)
			}
			if cut := eval[string](t, ctx, cutOff); cut != "" {
				t.Errorf("%s: cut off: %s", scene.name, cut)
			}
			picture(t, ctx, fmt.Sprintf("planned-%s-360-%s", scene.name, scheme))
		}
	}
	s.show(still(quietWren()))
	until(
		t, ctx,
		`document.querySelector("#machine").textContent === "wren" && document.querySelector("#planned").offsetParent === null`)
	if list := said(); len(list) > 0 {
		t.Errorf("the browser complained:\n%s", strings.Join(list, "\n"))
	}
}
