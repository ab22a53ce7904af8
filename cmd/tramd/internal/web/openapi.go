package web

import (
	_ "embed"
	"net/http"
)

//go:embed openapi.json
var openAPIText []byte

var openAPIFile = newFile(openAPIText, "application/json; charset=utf-8")

// openAPI serves the description of the API in the form of OpenAPI 3.1. It is written by hand; tests hold it against
// what the daemon answers.
func (s *server) openAPI(w http.ResponseWriter, r *http.Request) {
	openAPIFile.serve(w, r, "openapi.json")
}
