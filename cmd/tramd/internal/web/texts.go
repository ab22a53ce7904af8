package web

import (
	"encoding/json"
	"net/http"
	"sync"

	"tramd/cmd/tramd/internal/catalogue"
)

// language returns the catalogue in the language that the reader's browser asks for.
func language(r *http.Request) *catalogue.Catalogue {
	return catalogue.Preferred(r.Header.Get("Accept-Language"))
}

var textFiles sync.Map // file by catalogue

// textsOf returns a catalogue as the page's scripts load it. English says nothing in other words, so it is short.
func textsOf(c *catalogue.Catalogue) file {
	if f, ok := textFiles.Load(c); ok {
		return f.(file)
	}
	texts, err := json.Marshal(c.Texts)
	if err != nil {
		panic(err) // strings can always be written
	}
	said, err := json.Marshal(c.Said)
	if err != nil {
		panic(err)
	}
	body := append(append(append([]byte("export default "), texts...), ";\nexport const translations = "...), said...)
	f, _ := textFiles.LoadOrStore(c, newFile(append(body, ";\n"...), kinds[".js"]))
	return f.(file)
}
