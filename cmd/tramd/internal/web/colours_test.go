package web

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

type rgb [3]float64 // 0 to 1, as written (sRGB)

func linear(c rgb) (out rgb) { // IEC 61966-2-1
	for i, v := range c {
		if v <= 0.04045 {
			out[i] = v / 12.92
		} else {
			out[i] = math.Pow((v+0.055)/1.055, 2.4)
		}
	}
	return out
}

func luminance(c rgb) float64 {
	l := linear(c)
	return 0.2126*l[0] + 0.7152*l[1] + 0.0722*l[2]
}

// contrast is the ratio of WCAG 2.2, 1.4.3.
func contrast(a, b rgb) float64 {
	x, y := luminance(a), luminance(b)
	return (math.Max(x, y) + 0.05) / (math.Min(x, y) + 0.05)
}

// lab is CIE 1976 L*a*b* under D65.
func lab(l rgb) [3]float64 {
	x := (0.4124*l[0] + 0.3576*l[1] + 0.1805*l[2]) / 0.9505
	y := 0.2126*l[0] + 0.7152*l[1] + 0.0722*l[2]
	z := (0.0193*l[0] + 0.1192*l[1] + 0.9505*l[2]) / 1.089
	f := func(v float64) float64 {
		if v > 0.008856 {
			return math.Cbrt(v)
		}
		return 7.787*v + 16.0/116
	}
	return [3]float64{116*f(y) - 16, 500 * (f(x) - f(y)), 200 * (f(y) - f(z))}
}

// sights simulate full dichromacy in linear RGB: G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, "A
// physiologically-based model for simulation of color vision deficiency", IEEE TVCG 15 (2009), severity 1.0. The
// figures are from memory; each row adds up to 1.
var sights = map[string][3]rgb{
	"common":       {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}},
	"protanopia":   {{0.152286, 1.052583, -0.204868}, {0.114503, 0.786281, 0.099216}, {-0.003882, -0.048116, 1.051998}},
	"deuteranopia": {{0.367322, 0.860646, -0.227968}, {0.280085, 0.672501, 0.047413}, {-0.011820, 0.042940, 0.968881}},
	"tritanopia":   {{1.255528, -0.076749, -0.178779}, {-0.078411, 0.930809, 0.147602}, {0.004733, 0.691367, 0.303900}},
}

func apart(a, b rgb, m [3]rgb) float64 {
	see := func(c rgb) [3]float64 {
		l := linear(c)
		var out rgb
		for i := range out {
			out[i] = math.Min(1, math.Max(0, m[i][0]*l[0]+m[i][1]*l[1]+m[i][2]*l[2]))
		}
		return lab(out)
	}
	x, y := see(a), see(b)
	return math.Sqrt(math.Pow(x[0]-y[0], 2) + math.Pow(x[1]-y[1], 2) + math.Pow(x[2]-y[2], 2))
}

// The colours of the three verdicts stand apart for every kind of colour vision, and words stand out from their ground.
func TestColours(t *testing.T) {
	css := string(read("base.css"))
	light, rest, _ := strings.Cut(css, "@media")
	for scheme, text := range map[string]string{"light": light, "dark": rest} {
		colours := map[string]rgb{}
		for _, m := range regexp.MustCompile(`--([a-z-]+): #([0-9a-f]{6});`).FindAllStringSubmatch(text, -1) {
			n, err := strconv.ParseUint(m[2], 16, 32)
			if err != nil {
				t.Fatal(err)
			}
			colours[m[1]] = rgb{float64(n>>16) / 255, float64(n>>8&255) / 255, float64(n&255) / 255}
		}
		if len(colours) < 14 {
			t.Fatalf("%s: only %d colours are read", scheme, len(colours))
		}
		for sight, m := range sights {
			for _, pair := range [][2]string{{"good", "bad"}, {"good", "open"}, {"bad", "open"}} {
				if d := apart(colours[pair[0]], colours[pair[1]], m); d < 15 {
					t.Errorf("%s, %s: %s and %s are %.0f apart", scheme, sight, pair[0], pair[1], d)
				}
			}
		}
		for _, p := range [][2]string{{"ink", "paper"}, {"ink", "field"}, {"soft", "paper"}, {"soft", "field"},
			{"blue", "field"}, {"blue", "paper"}, {"blue-ink", "blue"}, {"good", "field"},
			{"bad", "field"}, {"open", "field"}, {"on", "good"}, {"on", "bad"}, {"ink", "good-field"},
			{"ink", "bad-field"}, {"ink", "note-field"}} {
			if c := contrast(colours[p[0]], colours[p[1]]); c < 4.5 {
				t.Errorf("%s: %s on %s has a contrast of %.1f", scheme, p[0], p[1], c)
			}
		}
	}
}
