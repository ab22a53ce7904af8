package qrcode

import (
	"fmt"
	"image"
	"image/color"
	"regexp"
	"strings"
	"testing"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"
)

const pixels = 6 // a module is so many wide

// read has a reader that is not ours look at a picture of black modules.
func read(t *testing.T, side int, black func(x, y int) bool) string {
	t.Helper()
	picture := image.NewGray(image.Rect(0, 0, side*pixels, side*pixels))
	for y := range side * pixels {
		for x := range side * pixels {
			picture.SetGray(x, y, color.Gray{Y: 255})
			if black(x/pixels, y/pixels) {
				picture.SetGray(x, y, color.Gray{})
			}
		}
	}
	bitmap, err := gozxing.NewBinaryBitmapFromImage(picture)
	if err != nil {
		t.Fatal(err)
	}
	got, err := qrcode.NewQRCodeReader().Decode(bitmap, nil)
	if err != nil {
		t.Fatal(err)
	}
	return got.GetText()
}

func TestAReaderFindsTheAddress(t *testing.T) {
	for _, address := range []string{"http://linnet:9743", "https://shop-pi.local:9743/", "http://[fd00::12]:9743/" +
		strings.Repeat("x", 200)} {
		svg, err := SVG(address)
		if err != nil {
			t.Fatal(err)
		}
		var side int
		if _, err := fmt.Sscanf(svg[strings.Index(svg, "viewBox"):], `viewBox="0 0 %d`, &side); err != nil {
			t.Fatal(err)
		}
		drawn := map[[2]int]bool{}
		for _, m := range regexp.MustCompile(`M(\d+) (\d+)h1v1h-1z`).FindAllStringSubmatch(svg, -1) {
			var x, y int
			if _, err := fmt.Sscan(m[1], &x); err != nil {
				t.Fatal(err)
			}
			if _, err := fmt.Sscan(m[2], &y); err != nil {
				t.Fatal(err)
			}
			drawn[[2]int{x, y}] = true
		}
		if got := read(t, side, func(x, y int) bool { return drawn[[2]int{x, y}] }); got != address {
			t.Errorf("the picture says %q, not %q", got, address)
		}

		text, err := Text(address)
		if err != nil {
			t.Fatal(err)
		}
		text = strings.NewReplacer(inkOnPaper, "", asBefore, "").Replace(text)
		if strings.Contains(text, "\x1b") {
			t.Errorf("a line keeps its colours: %q", text)
		}
		var rows [][]rune
		for line := range strings.Lines(text) {
			rows = append(rows, []rune(strings.TrimSuffix(line, "\n")))
		}
		got := read(t, len(rows[0]), func(x, y int) bool {
			if y/2 >= len(rows) {
				return false
			}
			c := rows[y/2][x]
			return c == '█' || c == '▀' && y%2 == 0 || c == '▄' && y%2 == 1
		})
		if got != address {
			t.Errorf("the terminal says %q, not %q", got, address)
		}
	}
	for _, draw := range []func(string) (string, error){SVG, Text} {
		if _, err := draw(strings.Repeat("x", 3000)); err == nil || !strings.Contains(err.Error(), "QR code") {
			t.Errorf("an endless address: %v", err)
		}
	}
}
