package web

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"net/http"
	"path"
	"time"
)

//go:embed assets
var assets embed.FS

// files are the page's own, by name, each with a tag of its content: embedded files have no time of their own.
var files = load()

type file struct {
	body []byte
	tag  string
	kind string
}

// kinds are told here rather than by the machine's table of types, which may be absent or wrong.
var kinds = map[string]string{
	".html": "text/html; charset=utf-8",
	".css":  "text/css; charset=utf-8",
	".js":   "text/javascript; charset=utf-8",
	".svg":  "image/svg+xml",
}

func load() map[string]file {
	out := map[string]file{}
	entries, err := assets.ReadDir("assets")
	if err != nil {
		panic(err) // the binary was built without its page
	}
	for _, e := range entries {
		body, err := assets.ReadFile("assets/" + e.Name())
		if err != nil {
			panic(err)
		}
		sum := sha256.Sum256(body)
		out[e.Name()] = file{body: body, tag: `"` + base64.RawURLEncoding.EncodeToString(sum[:12]) + `"`, kind: kinds[path.Ext(e.Name())]}
	}
	return out
}

func (s *server) page(w http.ResponseWriter, r *http.Request) { s.serveFile(w, r, "index.html") }

func (s *server) asset(w http.ResponseWriter, r *http.Request) {
	s.serveFile(w, r, r.PathValue("name"))
}

func (s *server) serveFile(w http.ResponseWriter, r *http.Request, name string) {
	f, ok := files[name]
	if !ok {
		s.fail(w, problem{http.StatusNotFound, "no such file"})
		return
	}
	w.Header().Set("Content-Type", f.kind)
	w.Header().Set("ETag", f.tag)
	w.Header().Set("Cache-Control", "no-cache") // ask each time; the answer is mostly 304
	http.ServeContent(w, r, name, time.Time{}, bytes.NewReader(f.body))
}
