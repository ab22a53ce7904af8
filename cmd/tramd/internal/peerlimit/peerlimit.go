// Package peerlimit limits how many may use something at once, in all and per address, so that one address never has it
// all.
package peerlimit

import (
	"context"
	"net/netip"
	"sync"
)

// Limit counts who is in. The zero Limit lets none in; New makes one.
type Limit struct {
	most, perPeer int
	mu            sync.Mutex
	all           int
	each          map[netip.Addr]int
	freed         chan struct{} // closed and replaced at each Leave, so that Wait tries again
}

// New returns a Limit with room for most in all and for perPeer from one address.
func New(most, perPeer int) *Limit {
	return &Limit{most: most, perPeer: perPeer, each: map[netip.Addr]int{}, freed: make(chan struct{})}
}

// Enter lets peer in and reports whether there was room. This machine and a peer without an address (a local socket)
// are held to the whole limit alone, since a proxy there speaks for many.
func (l *Limit) Enter(peer netip.Addr) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.all >= l.most || peer.IsValid() && !isLoopback(peer) && l.each[peer] >= l.perPeer {
		return false
	}
	l.all++
	l.each[peer]++
	return true
}

// Wait is Enter for a peer that can wait until ctx ends.
func (l *Limit) Wait(ctx context.Context, peer netip.Addr) bool {
	for {
		l.mu.Lock()
		freed := l.freed // taken before the try, so that no Leave in between is missed
		l.mu.Unlock()
		if l.Enter(peer) {
			return true
		}
		select {
		case <-freed:
		case <-ctx.Done():
			return false
		}
	}
}

// Leave gives back the room that Enter or Wait gave to peer.
func (l *Limit) Leave(peer netip.Addr) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.all--
	if l.each[peer]--; l.each[peer] == 0 {
		delete(l.each, peer)
	}
	close(l.freed)
	l.freed = make(chan struct{})
}

// All returns how many are in.
func (l *Limit) All() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.all
}

// Peer returns the address that a connection from remote ("host:port") counts under; invalid where remote is no such
// address. One IPv6 host commands a whole /64, so a /64 counts as one; loopback stays itself.
func Peer(remote string) netip.Addr {
	ap, err := netip.ParseAddrPort(remote)
	if err != nil {
		return netip.Addr{}
	}
	a := ap.Addr().Unmap().WithZone("")
	if p, err := a.Prefix(64); a.Is6() && !isLoopback(a) && err == nil {
		return p.Addr()
	}
	return a
}
