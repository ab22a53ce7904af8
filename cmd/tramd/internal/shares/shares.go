// Package shares counts who takes part in something that there is only so much of, so that no one address has it all.
package shares

import (
	"net/netip"
	"sync"
)

// Shares holds how many take part, in all and of each address.
type Shares struct {
	most, ofOne int
	mu          sync.Mutex
	all         int
	each        map[netip.Addr]int
}

// New lets so many take part, and so many of one address.
func New(most, ofOne int) *Shares {
	return &Shares{most: most, ofOne: ofOne, each: map[netip.Addr]int{}}
}

// Enter lets one in where there is room. One that speaks for many is not held to what one address may have.
func (s *Shares) Enter(from netip.Addr, forMany bool) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.all >= s.most || !forMany && s.each[from] >= s.ofOne {
		return false
	}
	s.all++
	s.each[from]++
	return true
}

// Leave takes one off that was let in.
func (s *Shares) Leave(from netip.Addr) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.all--
	if s.each[from]--; s.each[from] == 0 {
		delete(s.each, from)
	}
}

// All is how many take part now.
func (s *Shares) All() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.all
}
