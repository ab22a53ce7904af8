package catalogue

import (
	"embed"
	"encoding/json"
	"path"
	"strings"
	"sync"
)

// English is the language that every text exists in.
const English = "en"

//go:embed ??.json
var files embed.FS

// Catalogue is the texts of one language.
type Catalogue struct {
	Language string
	Texts    map[string]string // by key; what the translation leaves out is English
	Said     map[string]string // translations by English form; only those that there are
	forms    func() *forms
}

// all returns the catalogues by language. They are read once they are asked for: most commands need none.
var all = sync.OnceValue(func() map[string]*Catalogue {
	entries, err := files.ReadDir(".")
	if err != nil {
		panic(err) // the binary was built without its texts
	}
	out := map[string]*Catalogue{}
	for _, e := range entries {
		language := strings.TrimSuffix(e.Name(), path.Ext(e.Name()))
		text, err := files.ReadFile(e.Name())
		if err != nil {
			panic(err)
		}
		if out[language], err = Read(language, text); err != nil {
			panic(e.Name() + ": " + err.Error()) // a test reads each
		}
	}
	for _, c := range out {
		c.complete(out[English])
	}
	return out
})

// Read returns the catalogue that a file holds.
func Read(language string, file []byte) (*Catalogue, error) {
	var in struct {
		Texts map[string]string `json:"texts"`
		Said  map[string]string `json:"said"`
	}
	if err := json.Unmarshal(file, &in); err != nil {
		return nil, err
	}
	c := &Catalogue{Language: language, Texts: in.Texts, Said: map[string]string{}}
	for form, translation := range in.Said {
		if translation != "" {
			c.Said[form] = translation
		}
	}
	c.forms = sync.OnceValue(func() *forms { return newForms(c) })
	return c, nil
}

// complete takes from the English catalogue what a translation leaves out.
func (c *Catalogue) complete(english *Catalogue) {
	if c.Texts == nil {
		c.Texts = map[string]string{}
	}
	for key, text := range english.Texts {
		if c.Texts[key] == "" {
			c.Texts[key] = text
		}
	}
}

// Put adds a language for a test, and returns a function that takes it away again.
func Put(c *Catalogue) func() {
	c.complete(all()[English])
	all()[c.Language] = c
	return func() { delete(all(), c.Language) }
}

// Preferred returns the first language that an Accept-Language header asks for and that there is a catalogue of.
// Browsers write the languages in the order in which they are liked (RFC 9110, 12.5.4).
func Preferred(header string) *Catalogue {
	for _, part := range strings.Split(header, ",") {
		tag, _, _ := strings.Cut(strings.TrimSpace(part), ";")
		primary, _, _ := strings.Cut(strings.ToLower(tag), "-")
		if c := all()[primary]; c != nil {
			return c
		}
	}
	return all()[English]
}

// Text returns the words for a key, with {name} replaced by its value; pairs are name, value, name, value.
func (c *Catalogue) Text(key string, pairs ...string) string {
	out := c.Texts[key]
	for i := 0; i+1 < len(pairs); i += 2 {
		out = strings.ReplaceAll(out, "{"+pairs[i]+"}", pairs[i+1])
	}
	return out
}
