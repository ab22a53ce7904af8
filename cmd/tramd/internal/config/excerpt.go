package config

import (
	"errors"
	"fmt"
	"strings"

	"tramd/device"
)

// Excerpt reads what stands under one [[indicator]], for who has no configuration yet: the same keys, the same checks.
// What a configuration needs beside them, the port among it, is made up.
func Excerpt(name, port string, text []byte) (device.Spec, error) {
	head := fmt.Sprintf(`machine = { name = "one" }
store = { path = "/one" }
angle = { source = "stations" }
[[indicator]]
name = "arm"
port = %q
radius_mm = 100.0
`, port)
	c, err := Parse(name, append([]byte(head), text...))
	var ms Mistakes
	if errors.As(err, &ms) {
		for i := range ms {
			ms[i].Line = max(0, ms[i].Line-strings.Count(head, "\n"))
		}
		return device.Spec{}, ms
	}
	if err != nil {
		return device.Spec{}, err
	}
	return c.IndicatorPorts()[0], nil
}
