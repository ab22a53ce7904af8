package web

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"net/http"
	"path"
	"strings"
	"sync"
	"time"

	"tramd/cmd/tramd/internal/api"
)

//go:embed assets
var assets embed.FS

// files are the page's own, by name, each with a tag of its content: embedded files have no time of their own.
var files = load()

type file struct {
	body   []byte
	packed func() []byte // by gzip, once it is asked for; nil where that saves nothing
	tag    string
	kind   string
}

// kinds are the content types by file name ending; the machine's own table may be absent or wrong.
var kinds = map[string]string{
	".css":  "text/css; charset=utf-8",
	".js":   "text/javascript; charset=utf-8",
	".svg":  "image/svg+xml",
	".html": "text/html; charset=utf-8",
	".png":  "image/png",
}

// sheets are the style sheets in the order in which they count; the page asks for them as one file.
var sheets = []string{"base.css", "frame.css", "now.css", "adjust.css", "history.css", "runs.css", "machine.css",
	"print.css"}

func load() map[string]file {
	out := map[string]file{}
	entries, err := assets.ReadDir("assets")
	if err != nil {
		panic(err) // the binary was built without its page
	}
	for _, e := range entries {
		if kind := kinds[path.Ext(e.Name())]; kind != "" && path.Ext(e.Name()) != ".css" {
			out[e.Name()] = newFile(read(e.Name()), kind)
		}
	}
	var css bytes.Buffer
	for _, name := range sheets {
		css.Write(read(name))
	}
	out["page.css"] = newFile(css.Bytes(), kinds[".css"])
	return out
}

func read(name string) []byte {
	body, err := assets.ReadFile("assets/" + name)
	if err != nil {
		panic(err) // the binary was built without its page
	}
	return body
}

func newFile(body []byte, kind string) file {
	sum := sha256.Sum256(body)
	version := base64.RawURLEncoding.EncodeToString(sum[:12])
	return file{body: body, tag: `"` + version + `"`, kind: kind,
		packed: sync.OnceValue(func() []byte { return pack(body) })}
}

// pack compresses body; nil where that saves nothing. It takes milliseconds and a megabyte of work, so no command pays
// for it that serves no page.
func pack(body []byte) []byte {
	var packed bytes.Buffer
	z, _ := gzip.NewWriterLevel(&packed, gzip.BestCompression) // the level is a constant that exists
	_, _ = z.Write(body)                                       // into memory
	_ = z.Close()
	if packed.Len() >= len(body)*9/10 {
		return nil
	}
	return packed.Bytes()
}

func (s *server) asset(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("name")
	f, ok := files[name]
	if name == "texts.js" { // in the reader's language
		w.Header().Set("Vary", "Accept-Language")
		f, ok = textsOf(language(r)), true
	}
	if !ok {
		s.fail(w, api.NotFound.New("no such file"))
		return
	}
	f.serve(w, r, name)
}

// serve answers with the file, or says that the reader has it already.
func (f file) serve(w http.ResponseWriter, r *http.Request, name string) {
	h := w.Header()
	h.Set("Content-Type", f.kind)
	h.Set("Cache-Control", "no-cache") // ask each time; the answer is mostly 304
	h.Add("Vary", "Accept-Encoding")
	body := f.body
	if strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
		if packed := f.packed(); packed != nil {
			h.Set("Content-Encoding", "gzip")
			body = packed
		}
	}
	h.Set("ETag", f.tag)
	http.ServeContent(w, r, name, time.Time{}, bytes.NewReader(body))
}

// runbook says what to do about each alarm; alarms link to it.
func (s *server) runbook(w http.ResponseWriter, r *http.Request) {
	r.SetPathValue("name", "runbook.html")
	s.asset(w, r)
}
