package garage

import (
	"crypto/sha256"
	"encoding/binary"
	"hash"
	"maps"
	"math"
	"slices"
	"time"

	"readback/diag/dtc"
	"readback/diag/link"
)

// checksum is SHA-256 over everything that a visit says, without the numbers of its rows. Every text and list is
// preceded by its length, so that no two visits have the same bytes.
func checksum(v Visit) [sha256.Size]byte {
	d := &digest{h: sha256.New()}
	d.text("visit 1")
	d.number(uint64(v.CarID))
	d.text(string(v.Kind))
	d.time(v.Begun)
	d.time(v.Ended)
	d.flag(v.Complete)
	d.text(v.Place)
	d.text(v.Adapter)
	d.flag(v.Practice)
	d.number(math.Float64bits(v.Supply))
	d.text(v.Odometer)
	d.number(uint64(len(v.Modules)))
	for _, m := range v.Modules {
		d.module(m)
	}
	d.flush(0)
	return [sha256.Size]byte(d.h.Sum(nil))
}

// digest collects what goes into the sum: a visit has many short parts.
type digest struct {
	h   hash.Hash
	buf []byte
}

const digestPart = 4096

// flush adds what was collected, once there is more than so much of it.
func (d *digest) flush(most int) {
	if len(d.buf) > most {
		d.h.Write(d.buf)
		d.buf = d.buf[:0]
	}
}

func (d *digest) number(n uint64) { d.buf = binary.BigEndian.AppendUint64(d.buf, n) }

func (d *digest) bytes(b []byte) {
	d.number(uint64(len(b)))
	d.buf = append(d.buf, b...)
	d.flush(digestPart)
}

func (d *digest) text(s string) {
	d.number(uint64(len(s)))
	d.buf = append(d.buf, s...)
	d.flush(digestPart)
}

func (d *digest) flag(b bool) {
	if b {
		d.number(1)
	} else {
		d.number(0)
	}
}

func (d *digest) time(t time.Time) {
	d.flag(!t.IsZero())
	if !t.IsZero() {
		d.number(uint64(t.UnixNano()))
	}
}

func (d *digest) optional(p *byte) {
	d.flag(p != nil)
	if p != nil {
		d.number(uint64(*p))
	}
}

func (d *digest) module(m Module) {
	d.text(m.Name)
	d.text(m.NameSource)
	a := m.Address
	d.number(uint64(a.Mode))
	for _, id := range []link.ID{a.Request, a.Answer, m.Request, m.Answer} {
		d.text(idText(id))
	}
	d.flag(a.Functional)
	d.number(uint64(a.Target))
	d.number(uint64(a.Source))
	d.text(m.Protocol)
	d.flag(m.Safety)
	d.text(string(m.Answered))
	d.text(m.Refusal)
	d.number(uint64(len(m.Identification)))
	for _, k := range slices.Sorted(maps.Keys(m.Identification)) {
		d.text(k)
		d.text(m.Identification[k])
	}
	d.optional(statusByte(m.Availability))
	d.text(string(m.CodesRead))
	d.number(uint64(len(m.Codes)))
	for _, c := range m.Codes {
		d.code(c)
	}
}

func (d *digest) code(c CodeRecord) {
	d.bytes(c.Code.Bytes())
	d.bytes(c.Raw)
	d.optional(statusByte(c.Status))
	d.number(uint64(len(c.Lists)))
	for _, l := range c.Lists {
		d.text(l)
	}
	d.optional(c.Severity)
	d.number(uint64(len(c.Snapshots)))
	for _, s := range c.Snapshots {
		d.number(uint64(s.Record))
		d.bytes(s.Raw)
		d.number(uint64(len(s.Values)))
		for _, v := range s.Values {
			d.number(uint64(v.Identifier))
			d.text(v.Name)
			d.text(v.Text)
			d.bytes(v.Raw)
		}
	}
	d.number(uint64(len(c.Extended)))
	for _, e := range c.Extended {
		d.number(uint64(e.Record))
		d.text(e.Name)
		d.text(e.Text)
		d.bytes(e.Raw)
	}
}

func statusByte(s *dtc.Status) *byte { return (*byte)(s) }
