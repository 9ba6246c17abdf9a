package socketcan

import (
	"encoding/binary"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"go.einride.tech/can"

	"readback/diag/bus"
)

// The layout of struct can_frame and the error classes are those of include/uapi/linux/can.h and can/error.h.
func TestFrameBytes(t *testing.T) {
	for _, c := range []struct {
		name   string
		f      can.Frame
		id     uint32
		length byte
		data   [8]byte
	}{
		{"11 bits", can.Frame{ID: 0x7E5, Length: 2, Data: can.Data{0x3E, 0}}, 0x7E5, 2, [8]byte{0x3E}},
		{"29 bits sets bit 31", can.Frame{ID: 0x18DA58F1, IsExtended: true, Length: 8, Data: can.Data{1, 2, 3, 4, 5, 6, 7, 8}}, 0x98DA58F1, 8, [8]byte{1, 2, 3, 4, 5, 6, 7, 8}},
		{"remote sets bit 30 and has no data", can.Frame{ID: 0x123, IsRemote: true, Length: 5}, 0x40000123, 5, [8]byte{}},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := encode(c.f)
			if len(b) != 16 || binary.NativeEndian.Uint32(b) != c.id || b[4] != c.length || [8]byte(b[8:]) != c.data {
				t.Fatalf("bytes % X", b)
			}
			at := time.Unix(5, 0)
			if r, ok := decode(b, at); !ok || r.Frame != c.f || r.At != at || r.Fault != 0 {
				t.Errorf("read back as %+v, %t", r, ok)
			}
		})
	}
	for name, b := range map[string][]byte{"empty": {}, "an FD frame": make([]byte, 72), "a length of 9": {0, 0, 0, 0, 9, 15: 0}} {
		if r, ok := decode(b, time.Time{}); ok {
			t.Errorf("%s: %+v", name, r)
		}
	}
}

func TestFaults(t *testing.T) {
	for _, c := range []struct {
		name string
		id   uint32
		ctrl byte
		want bus.Fault
	}{
		{"lost arbitration is ordinary", 0x20000002, 0, 0},
		{"active again is no trouble", 0x20000004, 0x40, 0},
		{"receive overflow", 0x20000004, 0x01, bus.FaultOverrun},
		{"transmit warning", 0x20000004, 0x08, bus.FaultWarning},
		{"receive passive", 0x20000004, 0x10, bus.FaultPassive},
		{"nobody acknowledges, passive", 0x20000024, 0x20, bus.FaultNoAck | bus.FaultPassive},
		{"wrong bit rate", 0x20000088, 0, bus.FaultProtocol},
		{"bus off", 0x20000040, 0, bus.FaultBusOff},
		{"restarted", 0x20000100, 0, bus.FaultRestarted},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := make([]byte, 16)
			binary.NativeEndian.PutUint32(b, c.id)
			b[4], b[9] = 8, c.ctrl
			r, ok := decode(b, time.Unix(1, 0))
			if r.Fault != c.want || ok != (c.want != 0) || r.Frame != (can.Frame{}) {
				t.Errorf("%+v, %t", r, ok)
			}
		})
	}
}

// An rtnetlink answer for an interface of kind "can" at 500 kbit/s that is bus-off and listens only; built after
// rtnetlink(7) and include/uapi/linux/can/netlink.h.
func TestParseLink(t *testing.T) {
	u32 := func(v ...uint32) (b []byte) {
		for _, x := range v {
			b = binary.NativeEndian.AppendUint32(b, x)
		}
		return b
	}
	attr := func(typ uint16, data []byte) []byte {
		b := binary.NativeEndian.AppendUint16(nil, uint16(4+len(data)))
		b = append(binary.NativeEndian.AppendUint16(b, typ), data...)
		for len(b)%4 != 0 {
			b = append(b, 0)
		}
		return b
	}
	join := func(parts ...[]byte) (b []byte) {
		for _, p := range parts {
			b = append(b, p...)
		}
		return b
	}
	can := join(attr(1, u32(500000, 875, 125)), attr(4, u32(3)), attr(5, u32(0, 2)))
	info := join(attr(unix.IFLA_INFO_KIND, []byte("can\x00")), attr(unix.IFLA_INFO_DATA, can))
	head := join([]byte{0, 0}, binary.NativeEndian.AppendUint16(nil, unix.ARPHRD_CAN), u32(7, unix.IFF_UP, 0))
	msg := join(head, attr(unix.IFLA_IFNAME, []byte("can0\x00")), attr(unix.IFLA_LINKINFO, info))
	got, err := parseLink(msg)
	want := linkInfo{name: "can0", index: 7, hardware: unix.ARPHRD_CAN, up: true, kind: "can", bitRate: 500000, sample: 875, state: bus.StateOff, listenOnly: true}
	if err != nil || got != want {
		t.Errorf("%+v, %v; want %+v", got, err, want)
	}
	for n := range msg {
		_, _ = parseLink(msg[:n]) // a torn message must not panic
	}
	if _, err := parseLink(msg[:10]); err == nil {
		t.Error("10 bytes: no error")
	}
}

func TestList(t *testing.T) {
	root := t.TempDir()
	for name, files := range map[string][2]string{
		"can0": {"280", "0x40080"}, "can1": {"280", "0x400c1"}, "vcan0": {"280", "0x81"}, "eth0": {"1", "0x1003"}, "odd": {"x", "0x1"},
	} {
		if err := os.Mkdir(filepath.Join(root, name), 0o755); err != nil {
			t.Fatal(err)
		}
		for i, file := range []string{"type", "flags"} {
			if err := os.WriteFile(filepath.Join(root, name, file), []byte(files[i]+"\n"), 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	found, err := list(root, func(name string) string {
		if name == "vcan0" {
			return "vcan"
		}
		return "can"
	})
	if err != nil || len(found) != 3 {
		t.Fatalf("%+v, %v", found, err)
	}
	if f := found[0]; f.Place != "can:can1" || !f.Ready {
		t.Errorf("%+v", f)
	}
	if f := found[1]; f.Place != "can:can0" || f.Ready || f.Fix != "sudo ip link set can0 up type can bitrate 500000" || f.Note != "down; this brings it up: "+f.Fix {
		t.Errorf("%+v", f)
	}
	if f := found[2]; f.Place != "can:vcan0" {
		t.Errorf("%+v", f)
	}
	if found, err := list(filepath.Join(root, "none"), nil); err != nil || found != nil {
		t.Errorf("no folder: %v, %v", found, err)
	}
}

// FuzzDecode: whatever the kernel hands over, what is taken is a valid frame or a report that says something, and a frame is
// written as it was read.
func FuzzDecode(f *testing.F) {
	f.Add(encode(can.Frame{ID: 0x7E5, Length: 2, Data: can.Data{0x3E, 0}}))
	f.Add(encode(can.Frame{ID: 0x18DA58F1, IsExtended: true, IsRemote: true, Length: 8}))
	f.Add([]byte{0x24, 0, 0, 0x20, 8, 0, 0, 0, 0, 0x30, 0, 0, 0, 0, 0, 0})
	f.Fuzz(func(t *testing.T, b []byte) {
		r, ok := decode(b, time.Unix(5, 0))
		switch {
		case !ok:
		case r.Fault != 0:
			if r.Frame != (can.Frame{}) {
				t.Fatalf("% X: a report with a frame: %+v", b, r)
			}
		case r.Frame.Validate() != nil:
			t.Fatalf("% X: %+v: %v", b, r, r.Frame.Validate())
		default:
			if again, ok := decode(encode(r.Frame), r.At); !ok || again != r {
				t.Fatalf("% X: %+v is read again as %+v, %t", b, r, again, ok)
			}
		}
	})
}

// FuzzLink: whatever is told of an interface, it is an error or has a state that there is.
func FuzzLink(f *testing.F) {
	f.Add([]byte{0, 0, 0x18, 0x01, 3, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0, 9, 0, 3, 0, 'c', 'a', 'n', '0', 0, 0, 0, 0})
	f.Add([]byte{0, 0, 0x18, 0x01, 3, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0, // struct ifinfomsg
		36, 0, 18, 0, 8, 0, 1, 0, 'c', 'a', 'n', 0, // IFLA_LINKINFO: IFLA_INFO_KIND
		24, 0, 2, 0, 12, 0, 1, 0, 0x20, 0xA1, 7, 0, 0x6B, 3, 0, 0, 8, 0, 4, 0, 2, 0, 0, 0}) // IFLA_INFO_DATA: bit timing, state
	f.Fuzz(func(t *testing.T, b []byte) {
		l, err := parseLink(b)
		if err == nil && (l.bitRate < 0 || !slices.Contains(append(states[:], bus.StateUnknown), l.state)) {
			t.Fatalf("% X: %+v", b, l)
		}
	})
}
