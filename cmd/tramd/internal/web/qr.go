package web

import (
	"io"
	"net/http"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/qrcode"
)

// qr answers with the address of this page as a QR code, so that a phone need not type it.
func (s *server) qr(w http.ResponseWriter, r *http.Request) {
	scheme := "http"
	if r.TLS != nil {
		scheme = "https"
	}
	picture, err := qrcode.SVG(scheme + "://" + r.Host + "/")
	if err != nil {
		s.fail(w, api.Invalid.New("the address is too long for a QR code: open the page by a shorter name"))
		return
	}
	h := w.Header()
	h.Set("Content-Type", kinds[".svg"])
	h.Set("Cache-Control", "no-store")
	_, _ = io.WriteString(w, picture) // a reader who went away needs no picture
}
