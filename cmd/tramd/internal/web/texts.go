package web

import (
	"encoding/json"
	"net/http"
	"path"
	"slices"
	"strings"
)

// Every text of the page stands in assets/texts, one file a language: a translation is a file there. What a translation
// leaves out is shown in English.
const english = "en"

type catalogue struct {
	words map[string]string
	raw   []byte // JSON
}

var (
	catalogues = readCatalogues()
	languages  = sortedLanguages()
)

func readCatalogues() map[string]catalogue {
	entries, err := assets.ReadDir("assets/texts")
	if err != nil {
		panic(err) // the binary was built without its page
	}
	out := map[string]catalogue{}
	whole := readCatalogue(english, nil)
	for _, e := range entries {
		language := strings.TrimSuffix(e.Name(), path.Ext(e.Name()))
		out[language] = readCatalogue(language, whole.words)
	}
	return out
}

func readCatalogue(language string, otherwise map[string]string) catalogue {
	words := map[string]string{}
	if err := json.Unmarshal(read("texts/"+language+".json"), &words); err != nil {
		panic("texts/" + language + ".json: " + err.Error())
	}
	for key, text := range otherwise {
		if words[key] == "" {
			words[key] = text
		}
	}
	raw, err := json.Marshal(words)
	if err != nil {
		panic(err) // strings can always be written
	}
	return catalogue{words, raw}
}

func sortedLanguages() []string {
	var out []string
	for language := range catalogues {
		out = append(out, language)
	}
	slices.Sort(out)
	return out
}

// languageOf returns the first language that the browser asks for and that there is a catalogue of. Browsers write the
// languages in the order in which they are liked (RFC 9110, 12.5.4).
func languageOf(r *http.Request) string {
	for _, part := range strings.Split(r.Header.Get("Accept-Language"), ",") {
		tag, _, _ := strings.Cut(strings.TrimSpace(part), ";")
		primary, _, _ := strings.Cut(strings.ToLower(tag), "-")
		if _, ok := catalogues[primary]; ok {
			return primary
		}
	}
	return english
}

// text returns the words for a key, with {name} replaced by its value; pairs are name, value, name, value.
func (c catalogue) text(key string, pairs ...string) string {
	out := c.words[key]
	for i := 0; i+1 < len(pairs); i += 2 {
		out = strings.ReplaceAll(out, "{"+pairs[i]+"}", pairs[i+1])
	}
	return out
}
