package clock

import (
	"crypto/rand"
	"encoding/binary"
	"net"
	"sync"
	"time"
)

// Where the time daemons of this computer answer: chronyd's monitoring (chrony.conf(5), cmdport), and NTP (RFC 5905).
const (
	chronyAddr = "127.0.0.1:323"
	ntpAddr    = "127.0.0.1:123"
)

// answerWithin is how long a daemon of this computer may take to answer; where there is none, the kernel says so at
// once.
const answerWithin = 200 * time.Millisecond

// askEvery is how often daemons are asked again after a no. A yes holds until the computer is switched off.
const askEvery = 10 * time.Second

// timekeepers says whether a time daemon has set the clock. adjtimex(2) would say it of any of them, but the packaged
// service may not call it (ProtectClock=), so chronyd and ntpd are asked themselves. It may be used from many
// goroutines.
type timekeepers struct {
	kernel      func() bool // the signs that cost nothing
	chrony, ntp string      // addresses
	now         func() time.Duration

	mu    sync.Mutex
	asked time.Duration // since boot; 0: not yet
	set   bool
}

func newTimekeepers() *timekeepers {
	return &timekeepers{kernel: kernelSet, chrony: chronyAddr, ntp: ntpAddr, now: SinceBoot}
}

func (k *timekeepers) isSet() bool {
	if k.kernel() {
		return true
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	now := k.now()
	if k.set || k.asked != 0 && now-k.asked < askEvery {
		return k.set
	}
	k.asked = now
	k.set = chronySet(k.chrony) || ntpSet(k.ntp)
	return k.set
}

// disciplined reports whether a clock follows a source of time. leap is 3 where it was never set, and a stratum is 1 to
// 15 (RFC 5905, figures 9 and 11). A reference of 127.127.1.x is the computer's own clock, followed for want of a
// better one: that sets nothing.
func disciplined(leap, stratum uint16, ref uint32) bool {
	const ownClock, named = 0x7f7f01, 0x4c4f434c // "LOCL"
	return leap != 3 && stratum >= 1 && stratum <= 15 && ref>>8 != ownClock && ref != named
}

// chronySet asks chronyd for its tracking, as any user of the computer may. The layout is that of chrony's candm.h,
// version 6 of the protocol (from memory, and tried against chronyd in a test).
func chronySet(addr string) bool {
	const (
		version, request, reply = 6, 1, 2
		tracking, trackingReply = 33, 5
		head                    = 28 // of a reply
		length                  = head + 76
	)
	ask := make([]byte, length) // as long as the answer
	ask[0], ask[1] = version, request
	binary.BigEndian.PutUint16(ask[4:], tracking)
	_, _ = rand.Read(ask[8:12]) // the sequence, which the answer repeats; never fails
	got := exchange(addr, ask)
	if len(got) < length || got[0] != version || got[1] != reply || string(got[16:20]) != string(ask[8:12]) ||
		binary.BigEndian.Uint16(got[6:]) != trackingReply || binary.BigEndian.Uint16(got[8:]) != 0 {
		return false
	}
	body := got[head:]
	// A reference's number, its address (20 bytes), the stratum, the leap status.
	return disciplined(binary.BigEndian.Uint16(body[26:]), binary.BigEndian.Uint16(body[24:]),
		binary.BigEndian.Uint32(body))
}

// ntpSet asks an NTP server on this computer as a client does (RFC 5905, section 7.3); ntpd answers its own computer.
func ntpSet(addr string) bool {
	const version, client, server, length = 4, 3, 4, 48
	ask := make([]byte, length)
	ask[0] = version<<3 | client
	_, _ = rand.Read(ask[40:48]) // in place of a time sent, which the answer repeats; never fails
	got := exchange(addr, ask)
	if len(got) < length || got[0]&7 != server || string(got[24:32]) != string(ask[40:48]) {
		return false
	}
	return disciplined(uint16(got[0]>>6), uint16(got[1]), binary.BigEndian.Uint32(got[12:]))
}

// exchange sends one datagram and returns the answer; nil where none comes in time.
func exchange(addr string, ask []byte) []byte {
	c, err := net.DialTimeout("udp", addr, answerWithin)
	if err != nil {
		return nil
	}
	defer c.Close()
	got := make([]byte, 1024)
	if c.SetDeadline(time.Now().Add(answerWithin)) != nil {
		return nil
	}
	if _, err := c.Write(ask); err != nil {
		return nil
	}
	n, err := c.Read(got)
	if err != nil {
		return nil
	}
	return got[:n]
}
