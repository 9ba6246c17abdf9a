package socketcan

import (
	"encoding/binary"
	"time"

	"go.einride.tech/can"
	"golang.org/x/sys/unix"

	"readback/diag/bus"
)

// frameSize is struct can_frame (include/uapi/linux/can.h): the identifier with three flags in the host's byte order,
// the length, three bytes of no meaning here, eight bytes of data.
const frameSize = unix.CAN_MTU

func encode(f can.Frame) []byte {
	id := f.ID
	if f.IsExtended {
		id |= unix.CAN_EFF_FLAG
	}
	if f.IsRemote {
		id |= unix.CAN_RTR_FLAG
	}
	b := make([]byte, frameSize)
	binary.NativeEndian.PutUint32(b, id)
	b[4] = f.Length
	if !f.IsRemote {
		copy(b[8:], f.Data[:f.Length])
	}
	return b
}

// decode reads a frame, or the controller's report that the kernel has put into the form of one. ok is false for what
// is neither: another size, or a report that means nothing here.
func decode(b []byte, at time.Time) (r bus.Received, ok bool) {
	if len(b) != frameSize || b[4] > can.MaxDataLength {
		return r, false
	}
	r.At = at
	id := binary.NativeEndian.Uint32(b)
	if id&unix.CAN_ERR_FLAG != 0 {
		r.Fault = fault(id, b[8:])
		return r, r.Fault != 0
	}
	f := can.Frame{ID: id & unix.CAN_SFF_MASK, Length: b[4], IsRemote: id&unix.CAN_RTR_FLAG != 0}
	if id&unix.CAN_EFF_FLAG != 0 {
		f.ID, f.IsExtended = id&unix.CAN_EFF_MASK, true
	}
	if !f.IsRemote {
		copy(f.Data[:], b[8:8+f.Length])
	}
	r.Frame = f
	return r, true
}

// Classes of a controller's report, and the bits of its data byte 1 (include/uapi/linux/can/error.h).
const (
	errController = 0x004
	errProtocol   = 0x008
	errNoAck      = 0x020
	errBusOff     = 0x040
	errBus        = 0x080
	errRestarted  = 0x100

	ctrlOverflow = 0x01 | 0x02
	ctrlWarning  = 0x04 | 0x08
	ctrlPassive  = 0x10 | 0x20
)

// fault reads a report. Lost arbitration is ordinary, and a controller that is active again is no trouble.
func fault(id uint32, data []byte) (f bus.Fault) {
	for _, c := range []struct {
		class uint32
		fault bus.Fault
	}{
		{errProtocol, bus.FaultProtocol}, {errBus, bus.FaultProtocol}, {errNoAck, bus.FaultNoAck},
		{errBusOff, bus.FaultBusOff}, {errRestarted, bus.FaultRestarted},
	} {
		if id&c.class != 0 {
			f |= c.fault
		}
	}
	if id&errController == 0 {
		return f
	}
	for _, c := range []struct {
		bits  byte
		fault bus.Fault
	}{{ctrlOverflow, bus.FaultOverrun}, {ctrlWarning, bus.FaultWarning}, {ctrlPassive, bus.FaultPassive}} {
		if data[1]&c.bits != 0 {
			f |= c.fault
		}
	}
	return f
}

// extras reads what the kernel says beside a frame: when it arrived, and how many were dropped since the socket was
// opened. Both are optional.
func extras(oob []byte) (at time.Time, dropped uint32) {
	messages, err := unix.ParseSocketControlMessage(oob)
	if err != nil {
		return at, 0
	}
	for _, m := range messages {
		if m.Header.Level != unix.SOL_SOCKET {
			continue
		}
		switch {
		case m.Header.Type == unix.SO_TIMESTAMPNS && len(m.Data) == 16:
			at = time.Unix(int64(binary.NativeEndian.Uint64(m.Data)), int64(binary.NativeEndian.Uint64(m.Data[8:])))
		case m.Header.Type == unix.SO_RXQ_OVFL && len(m.Data) == 4:
			dropped = binary.NativeEndian.Uint32(m.Data)
		}
	}
	return at, dropped
}
