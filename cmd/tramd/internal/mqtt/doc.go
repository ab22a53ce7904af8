// Package mqtt publishes the machine's state to an MQTT 5 broker (OASIS Standard, MQTT Version 5.0), for shops that run
// one.
//
// Topics stand under PREFIX/MACHINE, all retained, with JSON payloads but for the first:
//
//	availability   online or offline; offline is also the last will
//	tilt, nod      {"mm_per_m", "U_mm_per_m", "verdict"} of the last stored check
//	check          {"verdict", "last", "next", "why"}: times in RFC 3339, null where there is none
//	alarm          {"on", "kinds", "text"}: what stands now
//	device/NAME    {"on", "state"} of one instrument
//
// Discovery messages describe these topics to Home Assistant, as its documentation of MQTT discovery lists the keys
// (home-assistant.io/integrations/mqtt). The package subscribes to nothing, so nothing can be commanded through the
// broker. The part that measures never waits for it: messages are made from a snapshot, on a goroutine of their own.
package mqtt
