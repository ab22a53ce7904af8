package identify

import (
	"encoding/binary"
	"fmt"
	"math"
	"strings"

	"tramd/device/frame"
)

// ModbusRequest asks for the first registers of an address.
func ModbusRequest(address, function byte, register, count uint16) string {
	b := []byte{address, function}
	b = binary.BigEndian.AppendUint16(b, register)
	b = binary.BigEndian.AppendUint16(b, count)
	_, crc := frame.CheckValue("crc16_modbus", b)
	return string(binary.LittleEndian.AppendUint16(b, crc))
}

// modbusGuesses reads the answers to a request for registers.
func modbusGuesses(h Heard) []guess {
	q := []byte(h.Request)
	if len(q) != 8 || q[1] != 3 && q[1] != 4 ||
		ModbusRequest(q[0], q[1], binary.BigEndian.Uint16(q[2:]), binary.BigEndian.Uint16(q[4:])) != h.Request {
		return nil
	}
	words := int(binary.BigEndian.Uint16(q[4:]))
	answers := modbusAnswers(h.data(), q[0], q[1], words)
	if len(answers) < leastReadings {
		return nil
	}
	kinds := []string{"int16"}
	orders := []string{"AB"}
	if words == 2 {
		kinds, orders = []string{"float32", "int32"}, []string{"ABCD", "CDAB", "BADC", "DCBA"}
	}
	best := math.Inf(1)
	var out []guess
	for _, kind := range kinds {
		for _, order := range orders {
			values, ok := modbusValues(answers, kind, order)
			if !ok {
				continue
			}
			// Two readings that are alike tell nothing of the order; the usual one comes first.
			rough := roughness(values, nil)
			if len(out) > 0 && !(rough < best) {
				continue
			}
			best = rough
			out = []guess{modbusGuess(q, kind, order)}
		}
	}
	return out
}

func modbusAnswers(data []byte, address, function byte, words int) [][]byte {
	var out [][]byte
	size := 5 + 2*words
	for len(data) >= size {
		f := data[:size]
		_, crc := frame.CheckValue("crc16_modbus", f[:size-2])
		if f[0] == address && f[1] == function && int(f[2]) == 2*words &&
			crc == binary.LittleEndian.Uint16(f[size-2:]) {
			out = append(out, f[3:size-2])
			data = data[size:]
			continue
		}
		data = data[1:]
	}
	return out
}

// modbusValues reads the answers in one way, if they can be lengths in it.
func modbusValues(answers [][]byte, kind, order string) ([]float64, bool) {
	var out []float64
	for _, a := range answers {
		raw := uint32(0)
		for _, letter := range "ABCD"[:len(a)] {
			raw = raw<<8 | uint32(a[strings.IndexRune(order, letter)])
		}
		v := float64(int32(raw))
		switch kind {
		case "int16":
			v = float64(int16(raw))
		case "float32":
			v = float64(math.Float32frombits(raw))
			if v != 0 && !(math.Abs(v) > 1e-5 && math.Abs(v) < 1000) {
				return nil, false
			}
		default:
			if math.Abs(v) > 1e7 {
				return nil, false
			}
		}
		out = append(out, v)
	}
	return out, true
}

func modbusGuess(q []byte, kind, order string) guess {
	scale, note := "0.001 mm",
		"how long a count is cannot be heard: scale is a guess; move the plunger by a known way and compare"
	if kind == "float32" {
		scale, note = "1 mm", "that the number is millimetres is a guess; move the plunger by a known way and compare"
	}
	t := fmt.Sprintf(
		"[indicator.modbus]\naddress = %d\nfunction = %d\nregister = %d\ntype = %q\norder = %q\nscale = %q\n",
		q[0], q[1], binary.BigEndian.Uint16(q[2:]), kind, order, scale)
	return guess{what: "registers over Modbus RTU", table: t, rank: 39, notes: []string{note,
		"only the first register was asked for: its maker's table says which one holds the reading"}}
}
