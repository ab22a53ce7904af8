package devicetest

import "encoding/binary"

// CRC is a frame's check value, bit by bit as MODBUS over Serial Line V1.02, 6.2.2, tells it; the low byte is sent
// first.
func CRC(frame []byte) uint16 {
	crc := uint16(0xFFFF)
	for _, c := range frame {
		crc ^= uint16(c)
		for range 8 {
			carry := crc & 1
			crc >>= 1
			if carry == 1 {
				crc ^= 0xA001
			}
		}
	}
	return crc
}

// Seal appends the check value to a frame.
func Seal(frame []byte) []byte { return binary.LittleEndian.AppendUint16(frame, CRC(frame)) }
