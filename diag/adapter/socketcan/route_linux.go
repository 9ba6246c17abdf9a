package socketcan

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"

	"github.com/mdlayher/netlink"
	"golang.org/x/sys/unix"

	"readback/diag/bus"
)

// Attributes inside IFLA_LINKINFO/IFLA_INFO_DATA of a CAN interface (include/uapi/linux/can/netlink.h).
const (
	attrBitTiming  = 1 // struct can_bittiming; the first 32 bits are the bit rate
	attrState      = 4 // enum can_state
	attrCtrlMode   = 5 // struct can_ctrlmode: mask, flags
	flagListenOnly = 0x02
)

// states are the kernel's enum can_state.
var states = [...]bus.State{bus.StateActive, bus.StateWarning, bus.StatePassive, bus.StateOff, bus.StateStopped, bus.StateStopped}

// linkInfo is what rtnetlink tells of an interface.
type linkInfo struct {
	name       string
	index      int
	hardware   uint16 // ARPHRD_CAN
	up         bool
	kind       string // "can", "vcan", "slcan", ...
	bitRate    int    // bit/s; 0 when not known
	sample     uint32 // sample point in tenths of a percent
	state      bus.State
	listenOnly bool
	busErrors  bool // reports each broken frame
}

// route asks the kernel about interfaces (rtnetlink).
type route struct{ c *netlink.Conn }

func dialRoute() (*route, error) {
	c, err := netlink.Dial(unix.NETLINK_ROUTE, nil)
	if err != nil {
		return nil, fmt.Errorf("socketcan: asking for interfaces: %w", err)
	}
	return &route{c}, nil
}

func (r *route) close() error { return r.c.Close() }

func (r *route) byName(name string) (linkInfo, error) {
	attrs, err := netlink.MarshalAttributes([]netlink.Attribute{{Type: unix.IFLA_IFNAME, Data: append([]byte(name), 0)}})
	if err != nil {
		return linkInfo{}, fmt.Errorf("socketcan: interface %q: %w", name, err)
	}
	return r.get(append(make([]byte, unix.SizeofIfInfomsg), attrs...), name)
}

func (r *route) byIndex(index int) (linkInfo, error) {
	msg := make([]byte, unix.SizeofIfInfomsg)
	binary.NativeEndian.PutUint32(msg[4:8], uint32(index))
	return r.get(msg, fmt.Sprintf("number %d", index))
}

func (r *route) get(msg []byte, what string) (linkInfo, error) {
	answers, err := r.c.Execute(netlink.Message{
		Header: netlink.Header{Type: unix.RTM_GETLINK, Flags: netlink.Request},
		Data:   msg,
	})
	switch {
	case errors.Is(err, unix.ENODEV), errors.Is(err, unix.ERANGE), errors.Is(err, unix.EINVAL): // ERANGE: too long for a name
		return linkInfo{}, fmt.Errorf("%w: %s", ErrNoInterface, what)
	case err != nil:
		return linkInfo{}, fmt.Errorf("socketcan: asking for interface %s: %w", what, err)
	}
	for _, a := range answers {
		if a.Header.Type == unix.RTM_NEWLINK {
			return parseLink(a.Data)
		}
	}
	return linkInfo{}, fmt.Errorf("%w: %s", ErrNoInterface, what)
}

// parseLink reads an RTM_NEWLINK message: struct ifinfomsg and attributes.
func parseLink(b []byte) (linkInfo, error) {
	if len(b) < unix.SizeofIfInfomsg {
		return linkInfo{}, fmt.Errorf("socketcan: an interface's description of %d bytes", len(b))
	}
	l := linkInfo{
		hardware: binary.NativeEndian.Uint16(b[2:4]),
		index:    int(int32(binary.NativeEndian.Uint32(b[4:8]))),
		up:       binary.NativeEndian.Uint32(b[8:12])&unix.IFF_UP != 0,
	}
	d, err := netlink.NewAttributeDecoder(b[unix.SizeofIfInfomsg:])
	if err != nil {
		return l, fmt.Errorf("socketcan: an interface's description: %w", err)
	}
	for d.Next() {
		switch d.Type() {
		case unix.IFLA_IFNAME:
			l.name = d.String()
		case unix.IFLA_LINKINFO:
			d.Nested(l.parseKind)
		}
	}
	if err := d.Err(); err != nil {
		return l, fmt.Errorf("socketcan: an interface's description: %w", err)
	}
	return l, nil
}

func (l *linkInfo) parseKind(d *netlink.AttributeDecoder) error {
	var data []byte
	for d.Next() {
		switch d.Type() {
		case unix.IFLA_INFO_KIND:
			l.kind = string(bytes.TrimRight(d.Bytes(), "\x00"))
		case unix.IFLA_INFO_DATA:
			data = d.Bytes()
		}
	}
	// Only the kind "can" fills INFO_DATA with what follows; vxcan puts its peer there.
	if data == nil || virtual(l.kind) {
		return nil
	}
	c, err := netlink.NewAttributeDecoder(data)
	if err != nil {
		return err
	}
	for c.Next() {
		v := c.Bytes()
		switch {
		case c.Type() == attrBitTiming && len(v) >= 8:
			l.bitRate, l.sample = int(binary.NativeEndian.Uint32(v)), binary.NativeEndian.Uint32(v[4:])
		case c.Type() == attrState && len(v) == 4:
			if s := binary.NativeEndian.Uint32(v); s < uint32(len(states)) {
				l.state = states[s]
			}
		case c.Type() == attrCtrlMode && len(v) >= 8:
			modes := binary.NativeEndian.Uint32(v[4:8])
			l.listenOnly, l.busErrors = modes&flagListenOnly != 0, modes&flagBusErrors != 0
		}
	}
	return c.Err()
}
