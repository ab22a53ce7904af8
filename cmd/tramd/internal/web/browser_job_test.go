package web

import (
	"fmt"
	"strings"
	"testing"
)

// What the adviser says stands on the page in its own words; what was really moved is corrected and logged by touch.
func TestTheJobInABrowser(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	said := complaints(t, ctx)
	s := newStage(t, hashed(t))
	s.show(still(quietWren()))
	a := someAdvice(t)
	if a.Done || len(a.Moves) == 0 {
		t.Fatalf("the adviser has nothing to say: %+v", a.Answer)
	}
	open(t, ctx, s.url+"/adjust?unit=mm_per_m", 360, 800, "light")
	until(t, ctx, fmt.Sprintf(`document.querySelectorAll("#moves li").length === %d`, len(a.Moves)))
	words := eval[string](t, ctx, `document.querySelector("#v-adjust").innerText`)
	// What to expect is seen at once; the reasons fold away.
	why := eval[[]string](t, ctx, `["#job-why", "#job-reasons"].map(q => document.querySelector(q).textContent)`)
	if strings.Join(why, " ") != a.Why || why[0] == "" || why[1] == "" {
		t.Errorf("the reasons are said as %q, want %q", why, a.Why)
	}
	want := []string{why[0], "Run 11", "then: swing -0.2 mm; new shim stock", "steps of 0.003 mm"}
	for _, m := range a.Moves {
		want = append(want, m.Say)
	}
	want = append(want, a.Cautions...)
	for _, w := range want {
		if !strings.Contains(words, w) {
			t.Errorf("not said: %q in\n%s", w, words)
		}
	}
	tap(t, ctx, `"#moved-log"`)
	until(t, ctx, `document.querySelector("#login").open`)
	tap(t, ctx, `"#login-cancel"`)
	if got := s.shop.last(); strings.HasPrefix(got, "event") {
		t.Errorf("a move was logged without a login: %s", got)
	}
	look(t, ctx, s.url+"/adjust", `document.querySelectorAll("#travel li").length === 2`,
		func(width int64, scheme string) {
			if over := eval[int](t, ctx,
				`document.documentElement.scrollWidth - document.documentElement.clientWidth`); over > 0 {
				t.Errorf("%d px: %d px too wide", width, over)
			}
			picture(t, ctx, fmt.Sprintf("job-%d-%s", width, scheme))
		})

	logIn(t, ctx)
	until(t, ctx, `!document.querySelector("#moved-log").disabled`)
	eval[bool](
		t, ctx,
		`document.querySelectorAll("#moved-rows input").forEach(e => e.value = ""); document.querySelector("#moved-log").click() ?? true`)
	until(t, ctx, `document.querySelector("#moved-answer").textContent.startsWith("Write what you moved")`)
	eval[bool](t, ctx, `(document.querySelector("#moved-0").value = "-0.04") !== ""`)
	tap(t, ctx, `"#moved-log"`)
	until(t, ctx, `document.querySelector("#moved-answer").textContent.startsWith("Logged")`)
	if got := s.shop.last(); got != `event adjusted "" 0 map[swing:-0.04]` {
		t.Errorf("the daemon was told %q", got)
	}
	if list := said(); len(list) > 0 {
		t.Errorf("the browser complained:\n%s", strings.Join(list, "\n"))
	}
}
