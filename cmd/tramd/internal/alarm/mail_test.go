package alarm

import (
	"io"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
)

// postOffice is a real mail server (of a library that shares no code with the sender) that keeps what it is given.
type postOffice struct {
	mu      sync.Mutex
	letters []string
}

func (p *postOffice) NewSession(*smtp.Conn) (smtp.Session, error) { return &counter{office: p}, nil }

type counter struct {
	office *postOffice
	head   string
}

func (c *counter) Mail(from string, _ *smtp.MailOptions) error { c.head = from + " >"; return nil }
func (c *counter) Rcpt(to string, _ *smtp.RcptOptions) error   { c.head += " " + to; return nil }
func (c *counter) Reset()                                      { c.head = "" }
func (c *counter) Logout() error                               { return nil }
func (c *counter) Data(r io.Reader) error {
	text, err := io.ReadAll(r)
	c.office.mu.Lock()
	defer c.office.mu.Unlock()
	c.office.letters = append(c.office.letters, c.head+"\n"+string(text))
	return err
}

func TestALetter(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	office := &postOffice{}
	srv := smtp.NewServer(office)
	go func() { _ = srv.Serve(l) }() // ends when it is closed
	t.Cleanup(func() { _ = srv.Close() })
	m := Mail{Host: "127.0.0.1", Port: l.Addr().(*net.TCPAddr).Port, TLS: "none", From: "linnet@shop.example",
		To: []string{"a@shop.example", "b@shop.example"}}
	ended := noon.Add(2 * time.Hour)
	for _, msg := range []Message{
		{Machine: "linnet", State: "raised", Alarm: Alarm{Kind: "outside", About: "nod", Since: noon,
			Text: "nod is past its limit"}},
		{Machine: "linnet", State: "cleared", Alarm: Alarm{Kind: "device", About: "arm", Since: noon,
			Text: "arm sends nothing"}, Until: &ended},
	} {
		if err := m.tell(t.Context(), msg); err != nil {
			t.Fatal(err)
		}
	}
	office.mu.Lock()
	defer office.mu.Unlock()
	if len(office.letters) != 2 {
		t.Fatalf("%d letters", len(office.letters))
	}
	for i, want := range [][]string{
		{"linnet@shop.example > a@shop.example b@shop.example", "Subject: linnet: outside, nod\r\n",
			"nod is past its limit", "isolate its power"},
		{"Subject: linnet: over: device, arm\r\n", "Until "},
	} {
		for _, w := range want {
			if !strings.Contains(office.letters[i], w) {
				t.Errorf("letter %d lacks %q:\n%s", i, w, office.letters[i])
			}
		}
	}

	// A server that speaks no TLS gets no letter when TLS is asked for.
	m.TLS = "require"
	if err := m.tell(t.Context(), Message{Machine: "linnet"}); err == nil {
		t.Error("a letter went out in the open though TLS was asked for")
	}
}
