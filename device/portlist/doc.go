// Package portlist lists the serial ports of this machine from what the kernel and udev publish as files: which adapter
// each is, the name that stays its own over replugs and reboots, and who has it open. It opens no port, so a port in
// use is not disturbed: opening one raises its modem lines and may reset the instrument behind it.
//
// Everything is read below [Roots], so that a made-up tree can stand in for a machine. A port that goes away while it
// is looked at is left out; what may not be read stays empty.
package portlist
