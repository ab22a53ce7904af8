package peerlimit

import "testing"

func TestThisMachineIsLoopbackInEveryForm(t *testing.T) {
	for host, want := range map[string]bool{
		"127.0.0.1": true, "127.8.9.1": true, "::1": true, "[::1]": true, "::1%lo": true, "[::1%lo]": true,
		"0:0:0:0:0:0:0:1":  true,
		"::ffff:127.0.0.1": true, "[::ffff:7f00:1]": true, "localhost": true, "LocalHost.": true, "ip6-localhost": true,
		"": false, "0.0.0.0": false, "::": false, "[::]": false, "192.168.1.5": false, "fe80::1": false,
		"127.shop": false, "linnet": false,
	} {
		if got := Loopback(host); got != want {
			t.Errorf("%q: %v, want %v", host, got, want)
		}
	}
}
