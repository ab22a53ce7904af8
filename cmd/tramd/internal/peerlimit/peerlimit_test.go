package peerlimit

import (
	"context"
	"net/netip"
	"testing"
)

func TestOneAddressLeavesRoomForOthers(t *testing.T) {
	const most, perPeer = 8, 4
	l := New(most, perPeer)
	now, cancel := context.WithCancel(t.Context())
	cancel() // so that Wait does not wait
	many := func(addr string) (n int, peer netip.Addr) {
		peer = netip.MustParseAddr(addr)
		for l.Wait(now, peer) {
			n++
		}
		return n, peer
	}
	guest, from := many("192.168.7.66")
	phone, _ := many("192.168.7.20")
	proxy, here := many("127.0.0.1")
	if guest != perPeer || phone != most-perPeer || proxy != 0 {
		t.Errorf("a guest entered %d times, a phone %d, this machine %d", guest, phone, proxy)
	}
	entered := make(chan bool)
	go func() { entered <- l.Wait(t.Context(), here) }()
	l.Leave(from)
	if !<-entered {
		t.Error("the waiting peer did not get the room that was given back")
	}
	if n, _ := many("192.168.7.66"); n != 0 || l.All() != most {
		t.Errorf("%d more than there is room for, %d in all", n, l.All())
	}
}

func TestPeer(t *testing.T) {
	for remote, want := range map[string]string{
		"192.168.7.31:4000":        "192.168.7.31",
		"[::ffff:192.168.7.31]:80": "192.168.7.31",
		"[2001:db8::17]:4000":      "2001:db8::",
		"[fe80::1%eth0]:4000":      "fe80::",
		"[::1]:4000":               "::1",
		"127.0.0.1:4000":           "127.0.0.1",
	} {
		if got := Peer(remote); got != netip.MustParseAddr(want) {
			t.Errorf("%s counts as %v, want %s", remote, got, want)
		}
	}
	for _, remote := range []string{"", "@", "localhost:80", "192.168.7.31"} {
		if got := Peer(remote); got.IsValid() {
			t.Errorf("%q counts as %v", remote, got)
		}
	}
}
