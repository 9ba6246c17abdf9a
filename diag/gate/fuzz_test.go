package gate

import (
	"testing"

	"readback/diag/explain"
	"readback/diag/link"
)

// FuzzSend: what passes the gate without a permit is a look for the explanation too, whatever is asked and wherever, and the
// bytes of the frame say the same as those of the message.
func FuzzSend(f *testing.F) {
	f.Add(uint32(0x7E5), uint8(0), []byte{0x19, 0x02, 0xFF}, []byte{3, 0x19, 0x02, 0xFF, 0x55, 0x55, 0x55, 0x55})
	f.Add(uint32(0x7DF), uint8(1), []byte{0x04}, []byte(nil))
	f.Add(uint32(0x18DA10F1), uint8(2), []byte{0x14, 0xFF, 0xFF, 0xFF}, []byte{2, 0x3E, 0x00})
	f.Add(uint32(0x10), uint8(3), []byte{0x18, 0x00, 0xFF, 0x00}, []byte(nil))
	f.Fuzz(func(t *testing.T, id uint32, kind uint8, data, exact []byte) {
		m := link.Message{Data: data}
		if len(exact) > 0 {
			m.Exact = exact
		}
		switch kind % 6 {
		case 0:
			m.Address = link.Address{Request: link.ID11(id & 0x7FF)}
		case 1:
			m.Address = link.Functional11()
		case 2:
			m.Address = link.Physical(link.ID29(id&0x1FFFFFFF), link.ID{})
		case 3:
			m.Address = link.AtHeader(byte(id))
		case 4:
			m.Address = link.Functional29()
		case 5:
			m.Address = link.Address{Mode: link.Mixed, Request: link.ID11(id & 0x7FF), Target: byte(id >> 11)}
		}
		w := &wire{}
		if New(w, Options{}).Send(ctx, m) != nil {
			if len(w.sent) > 0 {
				t.Fatalf("%v was refused, and left", m)
			}
			return
		}
		if class, why := explain.ClassifyPayload(m.Address, data); class != explain.Look {
			t.Fatalf("%v passes, and is %s (%s)", m, class, why)
		}
		if m.Exact == nil || m.Address.Mode == link.Header {
			return
		}
		if class, why := explain.Classify(m.Address.Request, m.Exact, explain.Options{}); m.Address.Mode != link.Mixed && class != explain.Look {
			t.Fatalf("%v passes as the frame % X, which is %s (%s)", m, m.Exact, class, why)
		}
	})
}
