package web

import (
	"context"
	"encoding/json"
	"net/http"
	"time"
)

// webApp is what a phone needs to put the page on its home screen (W3C Web Application Manifest).
type webApp struct {
	ID         string       `json:"id"`
	Name       string       `json:"name"`
	ShortName  string       `json:"short_name"` // the machine's, so that several differ
	StartURL   string       `json:"start_url"`
	Scope      string       `json:"scope"`
	Display    string       `json:"display"`
	Background string       `json:"background_color"`
	Theme      string       `json:"theme_color"`
	Icons      []webAppIcon `json:"icons"`
}

type webAppIcon struct {
	Src     string `json:"src"`
	Sizes   string `json:"sizes"`
	Type    string `json:"type"`
	Purpose string `json:"purpose,omitempty"`
}

var webAppIcons = []webAppIcon{
	{Src: "/assets/icon.svg", Sizes: "any", Type: "image/svg+xml"},
	{Src: "/assets/icon-192.png", Sizes: "192x192", Type: "image/png"},
	{Src: "/assets/icon-512.png", Sizes: "512x512", Type: "image/png"},
	// its margin may be cut off
	{Src: "/assets/icon-512.png", Sizes: "512x512", Type: "image/png", Purpose: "maskable"},
}

func (s *server) webApp(w http.ResponseWriter, r *http.Request) {
	machine := "tramd"
	ctx, cancel := context.WithTimeout(r.Context(), time.Second)
	defer cancel()
	if snap, err := snapshot(ctx, s.Live); err == nil {
		machine = snap.Machine
	}
	text, err := json.Marshal(webApp{
		ID: "/", Name: machine + ": spindle and table", ShortName: machine, StartURL: "/", Scope: "/",
		Display:    "standalone",
		Background: "#e7e6e1", Theme: "#1d4f91", Icons: webAppIcons,
	})
	if err != nil {
		s.fail(w, err)
		return
	}
	w.Header().Set("Content-Type", "application/manifest+json")
	w.Header().Set("Cache-Control", "no-store")
	_, _ = w.Write(text) // a reader who went away needs no answer
}
