package socketcan

import (
	"encoding/binary"
	"errors"
	"fmt"

	"github.com/mdlayher/netlink"
	"golang.org/x/sys/unix"
)

// flagBusErrors makes a controller report each broken frame (CAN_CTRLMODE_BERR_REPORTING).
const flagBusErrors = 0x10

// timing is what the kernel needs to work out a controller's bit timing (struct can_bittiming): the bit rate in bit/s
// and the sample point in tenths of a percent, 0 for the kernel's choice.
type timing struct{ rate, samplePoint uint32 }

func (v timing) encode() []byte {
	b := make([]byte, 32)
	binary.NativeEndian.PutUint32(b, v.rate)
	binary.NativeEndian.PutUint32(b[4:], v.samplePoint)
	return b
}

// configure sets the bit timing of an interface that is down, when its rate is not 0, and those of its modes that mask
// names.
func (r *route) configure(l linkInfo, t timing, mask, modes uint32) error {
	var attrs []netlink.Attribute
	if t.rate > 0 {
		attrs = append(attrs, netlink.Attribute{Type: attrBitTiming, Data: t.encode()})
	}
	if mask != 0 {
		mode := binary.NativeEndian.AppendUint32(binary.NativeEndian.AppendUint32(nil, mask), modes)
		attrs = append(attrs, netlink.Attribute{Type: attrCtrlMode, Data: mode})
	}
	data, err := netlink.MarshalAttributes(attrs)
	if err != nil {
		return fmt.Errorf("socketcan: configuring %s: %w", l.name, err)
	}
	kind, err := netlink.MarshalAttributes([]netlink.Attribute{
		{Type: unix.IFLA_INFO_KIND, Data: append([]byte(l.kind), 0)}, {Type: unix.IFLA_INFO_DATA, Data: data}})
	if err != nil {
		return fmt.Errorf("socketcan: configuring %s: %w", l.name, err)
	}
	info, err := netlink.MarshalAttributes([]netlink.Attribute{{Type: unix.IFLA_LINKINFO, Data: kind}})
	if err != nil {
		return fmt.Errorf("socketcan: configuring %s: %w", l.name, err)
	}
	if err := r.change(l.index, 0, 0, info); err != nil {
		return fmt.Errorf("socketcan: configuring %s: %w", l.name, err)
	}
	return nil
}

// silence makes the controller listen only, and report each frame that breaks where it can.
func (r *route) silence(l linkInfo, rate int) error {
	t := timing{rate: uint32(rate)}
	err := r.configure(l, t, flagListenOnly|flagBusErrors, flagListenOnly|flagBusErrors)
	if errors.Is(err, unix.EOPNOTSUPP) {
		err = r.configure(l, t, flagListenOnly, flagListenOnly)
	}
	return err
}

// bring brings an interface up or takes it down.
func (r *route) bring(l linkInfo, up bool) error {
	var flags uint32
	if up {
		flags = unix.IFF_UP
	}
	if err := r.change(l.index, flags, unix.IFF_UP, nil); err != nil {
		return fmt.Errorf("socketcan: %s up %t: %w", l.name, up, err)
	}
	return nil
}

// change sends RTM_NEWLINK for an interface that exists: those of its flags that mask names, and attributes.
func (r *route) change(index int, flags, mask uint32, attrs []byte) error {
	msg := make([]byte, unix.SizeofIfInfomsg, unix.SizeofIfInfomsg+len(attrs))
	binary.NativeEndian.PutUint32(msg[4:8], uint32(index))
	binary.NativeEndian.PutUint32(msg[8:12], flags)
	binary.NativeEndian.PutUint32(msg[12:16], mask)
	_, err := r.c.Execute(netlink.Message{
		Header: netlink.Header{Type: unix.RTM_NEWLINK, Flags: netlink.Request | netlink.Acknowledge},
		Data:   append(msg, attrs...),
	})
	return err
}
