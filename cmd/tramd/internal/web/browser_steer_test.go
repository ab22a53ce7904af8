package web

import (
	"fmt"
	"strings"
	"testing"
)

func TestPageSteersASweep(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	s := newStage(t, hashed(t))
	s.show(still(quietWren()))
	open(t, ctx, s.url, 768, 900, "light")
	until(t, ctx, `!document.querySelector("#start").disabled`)
	if caution := eval[string](t, ctx, `document.querySelector("#acts .caution").innerText`); !strings.Contains(
		caution, "Never run the spindle with the arm on it") {
		t.Errorf("caution beside the start button: %q", caution)
	}
	tap(t, ctx, `"#start"`)
	until(t, ctx, `document.querySelector("#login").open`)
	enter(t, ctx, "wrong")
	until(
		t, ctx,
		`document.querySelector("#login-answer").textContent === "wrong password" && document.querySelector("#login").open`)
	tap(t, ctx, `"#login-cancel"`)
	logIn(t, ctx)
	if got := s.shop.last(); strings.HasPrefix(got, "start") {
		t.Errorf("a sweep was started without a login: %s", got)
	}
	picture(t, ctx, "logged-in-768")
	press := func(id, did string) {
		t.Helper()
		tap(t, ctx, fmt.Sprintf(`"#%s"`, id))
		s.did(t, did)
	}
	eval[bool](t, ctx, `(document.querySelector("#temperature").value = "21.5") !== ""`)
	tap(t, ctx, `"#start"`) // the first start of a job: the cautions come first, in full
	until(
		t, ctx,
		`document.querySelector("#caution").open && document.querySelector("#caution").innerText.includes("Support the head before you loosen it")`)
	if got := s.shop.last(); strings.HasPrefix(got, "start") {
		t.Errorf("a sweep was started before the cautions were read: %s", got)
	}
	press("caution-ok", "start 1 check")
	if did := s.shop.before(); did != "at 21.5" {
		t.Errorf("before the start: %q", did)
	}
	until(t, ctx, `document.querySelector("#temperature").value === ""`)
	until(t, ctx, `document.querySelector("#answer").textContent === "Run 7 has begun."`)
	s.show(still(wrenByHand()))
	until(t, ctx, `!document.querySelector("#take").disabled && document.querySelector("#start").disabled`)
	press("take", "take 5")
	press("abandon", "abandon 5")

	for unit, want := range map[string]string{"own": "+0.0184", "arcsec": "+12.7", "thou_ft": "+0.74",
		"mm_per_m": "+0.061"} {
		eval[bool](t, ctx, fmt.Sprintf(
			`(e => { e.value = %q; e.dispatchEvent(new Event("change")); return true })(document.querySelector("#unit"))`, unit))
		until(t, ctx, fmt.Sprintf(`document.querySelector("#tilt .digits").textContent === %q`, want))
	}
}
