package web

import (
	"bytes"
	"compress/gzip"
	_ "embed"
	"io"
	"net/http"
	"sync"
)

// openAPIPacked is openapi.json by gzip, as most readers get it: the program is 80 kB smaller for it. A test holds the
// two together, and writes it again with -update.
//
//go:embed openapi.json.gz
var openAPIPacked []byte

var openAPIFile = sync.OnceValue(func() file {
	f := newFile(unpack(openAPIPacked), "application/json; charset=utf-8")
	f.packed = func() []byte { return openAPIPacked }
	return f
})

func unpack(packed []byte) []byte {
	z, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil {
		panic(err) // the binary was built without its description
	}
	body, err := io.ReadAll(z)
	if err != nil {
		panic(err)
	}
	return body
}

// openAPI serves the description of the API in the form of OpenAPI 3.1. It is written by hand; tests hold it against
// what the daemon answers.
func (s *server) openAPI(w http.ResponseWriter, r *http.Request) {
	openAPIFile().serve(w, r, "openapi.json")
}
