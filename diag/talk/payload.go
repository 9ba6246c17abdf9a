package talk

import "readback/diag/link"

// head appends the bytes of a message that its first frame carries.
func (t *Talk) head(n uint32, out []byte) []byte {
	m := t.msgs.at(n)
	f := t.frames.at(m.first)
	if f.kind == whole {
		s := t.texts[m.first]
		return append(out, s[:min(len(s), cap(out)-len(out))]...)
	}
	return t.piece(m, f, out)
}

// piece appends what one frame carries of its message.
func (t *Talk) piece(m *message, f *frame, out []byte) []byte {
	if f.kind != page {
		return out
	}
	return append(out, carried(f.data[:f.size], skipOf(t.threads[m.thread].address))...)
}

// skipOf is how many address bytes stand before the transport bytes.
func skipOf(a link.Address) int {
	if a.Headed() {
		return 1
	}
	return 0
}

// carried is what the data field of a single, first or consecutive frame holds of the message, with the filling behind it.
func carried(data []byte, skip int) []byte {
	if len(data) < skip+1 {
		return nil
	}
	data = data[skip:]
	switch data[0] >> 4 {
	case 0:
		return data[1:min(1+int(data[0]&0x0F), len(data))]
	case 1:
		if len(data) > 5 && data[0]&0x0F == 0 && data[1] == 0 {
			return data[6:] // the length is in the four bytes before (ISO 15765-2:2016, 9.6.3)
		}
		return data[min(2, len(data)):]
	}
	return data[1:]
}

// payload appends the bytes of a message, as far as they have come.
func (t *Talk) payload(n uint32, out []byte) []byte {
	m := t.msgs.at(n)
	if t.frames.at(m.first).kind == whole {
		return append(out, t.texts[m.first]...)
	}
	begun := len(out)
	for i, left := m.first, m.count; left > 0; left-- {
		f := t.frames.at(i)
		out = t.piece(m, f, out)
		i = f.next
	}
	return out[:min(len(out), begun+int(m.size))]
}
