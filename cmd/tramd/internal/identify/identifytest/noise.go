package identifytest

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// Noise is what is no instrument of ours: by name, some thousands of bytes each.
func Noise() map[string][]byte {
	rnd := rand.New(rand.NewPCG(11, 7))
	random := func(n int, from string) []byte {
		out := make([]byte, n)
		for i := range out {
			if from == "" {
				out[i] = byte(rnd.Uint32())
			} else {
				out[i] = from[rnd.IntN(len(from))]
			}
		}
		return out
	}
	repeat := func(f func(k int) string) []byte {
		var out []byte
		for k := range 120 {
			out = append(out, f(k)...)
		}
		return out
	}
	fill := func(f func(i int) byte) []byte {
		out := make([]byte, 2000)
		for i := range out {
			out[i] = f(i)
		}
		return out
	}
	return map[string][]byte{
		"random bytes":      random(4000, ""),
		"random letters":    random(4000, "abcdefghijklmnopqrstuvwxyz ABCDEFGHIJ\r\n"),
		"random figures":    random(4000, "0123456789+-., \r\n"),
		"random text":       random(4000, "abc0123456789+-.,:;=# \n"),
		"a line held low":   fill(func(int) byte { return 0 }),
		"all ones":          fill(func(int) byte { return 0xFF }),
		"every other bit":   fill(func(int) byte { return 0x55 }),
		"two bytes in turn": fill(func(i int) byte { return "\xAA\x55"[i%2] }),
		"a ramp":            fill(func(i int) byte { return byte(i) }),
		"sound":             fill(func(i int) byte { return byte(128 + 100*math.Sin(float64(i)/9)) }),
		"a frame at rest":   fill(func(i int) byte { return "\xAA\x55\x00\x12\x34"[i%5] }),
		"mostly zeros":      fill(func(i int) byte { return random(1, "\x00\x00\x00\x00\x00\x00\x00\xFF")[0] }),
		"prompts":           repeat(func(int) string { return "ready> \r\n" }),
		"prose":             repeat(func(int) string { return "the quick brown fox jumps over the lazy dog\r\n" }),
		"a clock":           repeat(func(k int) string { return fmt.Sprintf("%02d:%02d:%02d\r\n", 12, k/60, k%60) }),
		"a log": repeat(func(k int) string {
			return fmt.Sprintf("[%5d.%06d] usb 1-1: event %d\n", k, 7919*k%1000000, k%7)
		}),
		"a place on earth": repeat(func(k int) string {
			return fmt.Sprintf("$GP,1235%02d,4807.%03d,N,01131.%03d,E,1,08*47\r\n", k%60, k%999, k*3%999)
		}),
		"a thermometer": repeat(func(k int) string {
			return fmt.Sprintf("temp %.1f C\r\n", 21+math.Sin(float64(k)/9))
		}),
		"a voltmeter": repeat(func(k int) string {
			return fmt.Sprintf("%+.4f V\r\n", 1+math.Sin(float64(k)/9))
		}),
		"two numbers": repeat(func(k int) string {
			return fmt.Sprintf("%.3f %.3f\r\n", math.Sin(float64(k)), math.Cos(float64(k)))
		}),
		"errors":  repeat(func(k int) string { return fmt.Sprintf("err %d\r\n", k%5) }),
		"base 64": random(4000, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/\n"),
		"a dump": repeat(func(k int) string {
			return fmt.Sprintf("%04x: %02x %02x %02x\n", 16*k, 37*k%256, 91*k%256, 53*k%256)
		}),
		"random under a mark": repeat(func(int) string { return "\xAA" + string(random(4, "")) }),
	}
}
