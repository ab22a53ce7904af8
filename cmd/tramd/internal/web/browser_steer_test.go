package web

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

func TestPageSteersASweep(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	s := newStage(t, hashed(t))
	s.show(still(quietWren()))
	open(t, ctx, s.url, 768, 900, "light")
	until(t, ctx, `!document.querySelector("#login").hidden && document.querySelector("#start").disabled && document.querySelector("#why").textContent.startsWith("Log in")`)
	if caution := eval[string](t, ctx, `document.querySelector(".steer .caution").innerText`); !strings.Contains(caution, "Never run the spindle with the arm on it") {
		t.Errorf("caution beside the start button: %q", caution)
	}
	type_ := func(word string) {
		eval[string](t, ctx, fmt.Sprintf(`document.querySelector("#password").value = %q`, word))
		eval[bool](t, ctx, `document.querySelector("#login button").click() ?? true`)
	}
	type_("wrong")
	until(t, ctx, `document.querySelector("#answer").textContent === "wrong password"`)
	type_(password)
	until(t, ctx, `!document.querySelector("#start").disabled && document.querySelector("#login").hidden`)
	picture(t, ctx, "logged-in-768")
	press := func(id, did string) {
		t.Helper()
		eval[bool](t, ctx, fmt.Sprintf(`document.querySelector("#%s").click() ?? true`, id))
		for end := time.Now().Add(3 * time.Second); s.shop.last() != did; time.Sleep(20 * time.Millisecond) {
			if time.Now().After(end) {
				t.Fatalf("#%s did %q, want %q", id, s.shop.last(), did)
			}
		}
	}
	eval[bool](t, ctx, `(document.querySelector("#warmth").value = "21.5") !== ""`)
	press("start", "start 1 check")
	if did := s.shop.before(); did != "at 21.5" {
		t.Errorf("before the start: %q", did)
	}
	until(t, ctx, `document.querySelector("#warmth").value === ""`)
	until(t, ctx, `document.querySelector("#answer").textContent === "Run 7 has begun."`)
	s.show(still(wrenByHand()))
	until(t, ctx, `!document.querySelector("#take").disabled && document.querySelector("#start").disabled`)
	press("take", "take 5")
	press("abandon", "abandon 5")

	for unit, want := range map[string]string{"span": "+0.0184", "arcsec": "+12.7", "thou_ft": "+0.74", "mm_per_m": "+0.061"} {
		eval[bool](t, ctx, fmt.Sprintf(`(e => { e.value = %q; e.dispatchEvent(new Event("change")); return true })(document.querySelector("#unit"))`, unit))
		until(t, ctx, fmt.Sprintf(`document.querySelector("#tilt .digits").textContent === %q`, want))
	}
}
