// Package cataloguetest has a made-up language for tests: English in which each letter is another, so that what does
// not come from the catalogue is still to be read.
package cataloguetest

import (
	_ "embed"
	"encoding/json"
	"regexp"
	"slices"
	"strings"
	"testing"

	"tramd/cmd/tramd/internal/catalogue"
)

// Language is the made-up language; no browser asks for it by itself.
const Language = "qps"

const (
	english = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
	strange = "áƀçđéƒĝĥíĵķļɱñóþɋŕšťúṽŵẋýžÁɃÇĐÉƑĜĤÍĴĶĻṂÑÓÞɊŔŠŤÚṼŴẊÝŽ"
)

// sentences are the forms of all that the program itself says; the program has no use for them in English.
//
//go:embed sentences.json
var sentences []byte

// kept are the blanks of a text, the units that a form has as blanks, and what a machine reads.
var kept = regexp.MustCompile("\\{#?\\w+\\}|\\bmm/m\\b|\\bmm\\b|`[^`]*`")

// Pseudo returns a text in the made-up language.
func Pseudo(text string) string {
	var out strings.Builder
	from := 0
	for _, at := range append(kept.FindAllStringIndex(text, -1), []int{len(text), len(text)}) {
		out.WriteString(strings.Map(letter, text[from:at[0]]))
		out.WriteString(text[at[0]:at[1]])
		from = at[1]
	}
	return out.String()
}

var letters = []rune(strange)

func letter(r rune) rune {
	if i := strings.IndexRune(english, r); i >= 0 {
		return letters[i]
	}
	return r
}

// Catalogue returns the catalogue with every entry in the made-up language.
func Catalogue(t testing.TB) *catalogue.Catalogue {
	t.Helper()
	c, err := Read()
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// Read is Catalogue for a TestMain.
func Read() (*catalogue.Catalogue, error) {
	file := struct {
		Texts map[string]string `json:"texts"`
		Said  map[string]string `json:"said"`
	}{Texts: map[string]string{}}
	if err := json.Unmarshal(sentences, &file); err != nil {
		return nil, err
	}
	for key, text := range catalogue.Preferred(catalogue.English).Texts {
		file.Texts[key] = Pseudo(text)
	}
	for form := range file.Said {
		file.Said[form] = Pseudo(form)
	}
	text, err := json.Marshal(file)
	if err != nil {
		return nil, err
	}
	return catalogue.Read(Language, text)
}

var word = regexp.MustCompile("`[^`]*`|[A-Za-z]{3,}")

// English returns the words of a text that are in no other language: three letters of the alphabet and more. Names and
// units that may stand in any language are let pass.
func English(text string, names ...string) []string {
	var out []string
	for _, w := range word.FindAllString(text, -1) {
		if w[0] != '`' && !slices.Contains(names, w) && !slices.Contains(out, w) {
			out = append(out, w)
		}
	}
	return out
}
