// Package trace records what really went over the wire: frames, messages and troubles, with their times.
//
// A [Recorder] keeps the newest of them in bounded memory. [WrapBus] and [WrapLink] put it around a Bus or a Link;
// an adapter of messages tells it of frames as a bus.Tap. Recordings are written and read as pcapng files with link
// type 227 (LINKTYPE_CAN_SOCKETCAN).
package trace
