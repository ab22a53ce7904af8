package main

import (
	"fmt"
	"io"

	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/qrcode"
)

// showPage writes the page's address to a terminal, as a QR code too: a phone need not type it. It writes nothing where
// no other computer reaches the page, or to what is no terminal.
func showPage(w io.Writer, cfg *config.Config) {
	address := cfg.Page()
	if address == "" || !isTerminal(w) {
		return
	}
	code, err := qrcode.Text(address)
	if err != nil { // the address alone can still be typed
		code = ""
	}
	fmt.Fprintf(w, "The page for a phone on the shop's network: %s\n%s", address, code)
}
