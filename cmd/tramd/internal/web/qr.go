package web

import (
	"fmt"
	"net/http"
	"strings"

	"rsc.io/qr"
)

// qr answers with the address of this page as a QR code (ISO/IEC 18004), so that a phone need not type it.
func (s *server) qr(w http.ResponseWriter, r *http.Request) {
	scheme := "http"
	if r.TLS != nil {
		scheme = "https"
	}
	code, err := qr.Encode(scheme+"://"+r.Host+"/", qr.M)
	if err != nil {
		s.fail(w, problem{http.StatusBadRequest, "the address is too long for a QR code: open the page by a shorter name"})
		return
	}
	const quiet = 4 // modules of margin, as the standard asks for
	var path strings.Builder
	for y := range code.Size {
		for x := range code.Size {
			if code.Black(x, y) {
				fmt.Fprintf(&path, "M%d %dh1v1h-1z", x+quiet, y+quiet)
			}
		}
	}
	side := code.Size + 2*quiet
	h := w.Header()
	h.Set("Content-Type", kinds[".svg"])
	h.Set("Cache-Control", "no-store")
	fmt.Fprintf(w, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" shape-rendering="crispEdges"><rect width="%d" height="%d" fill="#fff"/><path d="%s"/></svg>`,
		side, side, side, side, path.String())
}
