package catalogue_test

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"tramd/cmd/tramd/internal/catalogue"
	"tramd/cmd/tramd/internal/catalogue/cataloguetest"
)

func pseudo(t *testing.T) *catalogue.Catalogue {
	t.Helper()
	c := cataloguetest.Catalogue(t)
	t.Cleanup(catalogue.Put(c))
	return c
}

// Sentences come out in the other language, with their figures and names as they were; what is put together of several
// is found piece by piece.
func TestWhatTheProgramSaysIsTranslated(t *testing.T) {
	c := pseudo(t)
	p := cataloguetest.Pseudo
	for _, x := range []struct{ text, want string }{
		{"Keep turning: 0.74 of 2.", p("Keep turning:") + " 0.74 " + p("of") + " 2."},
		{"35 degrees of the circle were not seen, from 10 to 45 degrees",
			"35 " + p("degrees of the circle were not seen, from") + " 10 " + p("to") + " 45 " + p("degrees")},
		{"Turn the arm slowly by hand, either way round.", p("Turn the arm slowly by hand, either way round.")},
		{"All readings are in. Working out the result.", p("All readings are in. Working out the result.")},
		// a blank that is words itself
		{"arm is not plugged in (no such device). Plug it in; tramd finds it again by itself.",
			"arm " + p("is not plugged in") + " (no such device). " + p("Plug it in; tramd finds it again by itself.")},
		// the reader's own unit stands where the sentence had its own
		{"tilt is outside its tolerance since 2026-03-02, by +0.0123 mm over 300 mm",
			p("tilt is outside its tolerance since") + " 2026-03-02, " + p("by") + " +0.0123 mm over 300 mm"},
		{"cutter", "cutter"}, // no sentence of the program
		{"a brass shim by the left foot", "a brass shim by the left foot"},
		{"", ""}, {"12.3", "12.3"},
	} {
		if got := c.Say(x.text); got != x.want {
			t.Errorf("%q\n got %q\nwant %q", x.text, got, x.want)
		}
	}
}

// Every sentence of the catalogue is found again whatever stands in its blanks, by itself and behind another.
func TestEverySentenceIsFound(t *testing.T) {
	c := pseudo(t)
	for form := range c.Said {
		text := filled(form)
		for _, text := range []string{text, "Keep clear. " + text + ".", text + "; direction not known"} {
			if left := cataloguetest.English(c.Say(text), "over"); len(left) > 0 {
				t.Errorf("%q\nleaves %q in\n%q", text, left, c.Say(text))
			}
		}
	}
}

// filled puts figures into the blanks of a form.
func filled(form string) string {
	for n, value := range []string{"1", "0.25", "+3.1", "−4", "50", "6", "7", "8"} {
		form = strings.NewReplacer(fmt.Sprintf("{%d}", n+1), value, fmt.Sprintf("{#%d}", n+1), value).Replace(form)
	}
	return form
}

// English stays what it is.
func TestEnglishSaysTheSame(t *testing.T) {
	const text = "Keep turning: 0.74 of 2."
	if got := catalogue.Preferred("en").Say(text); got != text {
		t.Error(got)
	}
	if got := catalogue.Preferred("none").Language; got != "en" {
		t.Error(got)
	}
}

// A printed sheet is whole in the other language: nothing is left of English but names and what the person wrote.
func TestPrintedSheetsAreTranslated(t *testing.T) {
	c := pseudo(t)
	for _, name := range []string{"../report/testdata/linnet.html", "../jobsheet/testdata/linnet.html"} {
		page, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		own := strings.Fields("linnet UTC arm swing shim lower bolts tightened squared again one was bent amp " +
			"replaced flat steps between passes granite plate bed") // a person's words
		out := c.Markup(string(page))
		if !strings.Contains(out, `<html lang="qps"`) {
			t.Errorf("%s: the language is not named", name)
		}
		for _, piece := range catalogue.Readable(out) {
			if left := cataloguetest.English(piece, own...); len(left) > 0 {
				t.Errorf("%s: %q in %q", name, left, piece)
			}
		}
	}
}

// The first of the reader's languages is taken that there is a catalogue of.
func TestPreferred(t *testing.T) {
	t.Cleanup(catalogue.Put(&catalogue.Catalogue{Language: "de", Texts: map[string]string{"view.now": "Jetzt"}}))
	for header, want := range map[string]string{
		"": "en", "de": "de", "de-AT,de;q=0.9": "de", "fr, de;q=0.5, en;q=0.1": "de", "fr;q=1": "en", "*": "en",
		";;,,": "en",
	} {
		if got := catalogue.Preferred(header).Language; got != want {
			t.Errorf("%q: %s, want %s", header, got, want)
		}
	}
	c := catalogue.Preferred("de")
	if now, adjust := c.Text("view.now"), c.Text("view.adjust"); now != "Jetzt" || adjust != "Adjust" {
		t.Errorf("%q and %q: what is left out must be English", now, adjust)
	}
	if got := c.Text("now.run", "run", "12"); got != "Run 12" {
		t.Error(got)
	}
}

// No text, however odd, makes the translation fail or lose a figure.
func FuzzSay(f *testing.F) {
	c := cataloguetest.Catalogue(f)
	for _, s := range []string{
		"Keep turning: 0.74 of 2.", "a; b. c: d, e (f) g", "((((", ". . . .", "\xff\xfe",
		"tilt and nod are mm/m mm mm/m",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if len(s) > 200 {
			return
		}
		digits := func(s string) string {
			return strings.Map(func(r rune) rune {
				if r >= '0' && r <= '9' {
					return r
				}
				return -1
			}, s)
		}
		if out := c.Say(s); digits(out) != digits(s) {
			t.Errorf("%q became %q", s, out)
		}
	})
}
