package main

import (
	"fmt"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/crypto/bcrypt"

	"tramd/cmd/tramd/internal/certs/certstest"
)

// Passwords and certificates stand in files of their own. A reload takes new ones, at once and for connections that are
// open; bad ones leave the old in force, by name.
func TestAReloadTakesNewPasswordsAndCertificates(t *testing.T) {
	s := newShop(t, encoderPorts("/dev/none-1", "/dev/none-2"))
	shopCA, otherCA := certstest.New(t, "shop"), certstest.New(t, "other")
	later := time.Now().Add(time.Hour)
	cert, key := shopCA.Issue("linnet", 7, later)
	hash := func(password string) []byte {
		h, err := bcrypt.GenerateFromPassword([]byte(password), bcrypt.MinCost)
		if err != nil {
			t.Fatal(err)
		}
		return h
	}
	put := func(name string, text []byte) { certstest.Write(t, s.dir, map[string][]byte{name: text}) }
	put("cert.pem", cert)
	put("key.pem", key)
	put("people.pem", shopCA.PEM)
	put("password", hash("instrument"))
	t.Setenv("CREDENTIALS_DIRECTORY", s.dir)
	in := func(name string) string { return filepath.Join(s.dir, name) }
	s.edit(t, "[http]\n", fmt.Sprintf(
		"[http]\ntls_cert = %q\ntls_key = %q\nclient_ca = %q\npassword_hash = \"credential:password\"\n",
		in("cert.pem"), in("key.pem"), in("people.pem")))
	m := newManager(t, s.dir)
	p := s.daemon(t)
	m.waitFor("READY=1")
	reload := func() string {
		t.Helper()
		if err := p.cmd.Process.Signal(syscall.SIGHUP); err != nil {
			t.Fatal(err)
		}
		m.waitFor("RELOADING=1")
		return last(m.waitFor("READY=1"))
	}
	refused := func(what string, words ...string) {
		t.Helper()
		said := reload()
		for _, w := range append(words, "refused, the old one holds",
			"in force: certificate 7 of CN=linnet, good until ") {
			if !strings.Contains(said, w) {
				t.Errorf("%s: it said %q, without %q", what, said, w)
			}
		}
	}

	joiner, stranger := shopCA.Person(shopCA.Issue("joiner", 2, later)),
		shopCA.Person(otherCA.Issue("turner", 3, later))
	guest := shopCA.Person(nil, nil)
	post := func(c *http.Client, path, body string) int {
		resp, err := c.Post("https://"+s.page+path, "application/json", strings.NewReader(body))
		if err != nil {
			return 0 // turned away in the handshake
		}
		defer resp.Body.Close()
		return resp.StatusCode
	}
	may := func(c *http.Client) bool {
		return post(c, "/api/v1/events", `{"kind":"note","text":"shim"}`) == http.StatusCreated
	}
	opens := func(password string) bool {
		return post(guest, "/api/v1/login", `{"password":"`+password+`"}`) == http.StatusOK
	}
	if !may(joiner) || may(stranger) || !opens("instrument") || opens("case") {
		t.Error("at the start the wrong ones are let in")
	}

	// The joiner's connection stays open all the while.
	put("people.pem", otherCA.PEM)
	if said := reload(); strings.Contains(said, "refused") {
		t.Errorf("of another authority it said %q", said)
	}
	if may(joiner) || !may(stranger) {
		t.Error("the old authority still holds, or the new one does not")
	}
	put("password", hash("case"))
	reload()
	if opens("instrument") || !opens("case") {
		t.Error("the old password still holds, or the new one does not")
	}

	put("people.pem", []byte("no authority"))
	refused("a bad authority", "http.client_ca", "holds no certificate in PEM")
	put("people.pem", otherCA.PEM)
	put("password", []byte("instrument"))
	refused("a bad password", "http.password_hash", "no bcrypt hash")
	put("password", hash("case"))
	put("cert.pem", []byte("half a certi"))
	refused("a bad certificate", "http.tls_cert")
	if !may(stranger) || !opens("case") {
		t.Error("the old ones do not hold")
	}

	// Nothing of the old is left on the disk, and the new cannot be started: it is put back all the same.
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	if err := os.Remove(in("people.pem")); err != nil {
		t.Fatal(err)
	}
	put("cert.pem", nil)
	cert, key = shopCA.Issue("linnet", 8, later)
	put("new-cert.pem", cert)
	put("new-key.pem", key)
	for old, new := range map[string]string{in("cert.pem"): in("new-cert.pem"), in("key.pem"): in("new-key.pem"),
		fmt.Sprintf("client_ca = %q\n", in("people.pem")): "", s.page: taken.Addr().String()} {
		s.edit(t, old, new)
	}
	if said := reload(); !strings.Contains(said, "the old one holds") ||
		!strings.Contains(said, "address already in use") {
		t.Errorf("of a taken address it said %q", said)
	}
	if !may(stranger) || may(joiner) || !opens("case") {
		t.Error("the old ones were not put back")
	}
}
