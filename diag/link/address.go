package link

import (
	"fmt"
	"strconv"
	"strings"

	"go.einride.tech/can"
)

// ID is a CAN identifier, 11 bits or, when Extended, 29 bits. 7DF and 000007DF are different identifiers.
type ID struct {
	Value    uint32
	Extended bool
}

// ID11 and ID29 make identifiers of either width.
func ID11(v uint32) ID { return ID{Value: v & can.MaxID} }
func ID29(v uint32) ID { return ID{Value: v & can.MaxExtendedID, Extended: true} }

// IDOf is the identifier of a frame.
func IDOf(f can.Frame) ID { return ID{Value: f.ID, Extended: f.IsExtended} }

// IsZero reports the zero ID, which stands for "not known".
func (i ID) IsZero() bool { return i == ID{} }

// String is the canonical form: 3 upper-case hex digits for 11 bits, 8 for 29 bits.
func (i ID) String() string {
	var room [8]byte
	return string(i.Append(room[:0]))
}

// Append appends the canonical form to b.
func (i ID) Append(b []byte) []byte {
	digits := 3
	if i.Extended {
		digits = 8
	}
	for digits < 8 && i.Value>>(4*digits) != 0 { // none that there can be
		digits++
	}
	for n := digits - 1; n >= 0; n-- {
		b = append(b, "0123456789ABCDEF"[i.Value>>(4*n)&0xF])
	}
	return b
}

// ParseID reads the canonical form: 3 hex digits for 11 bits, 8 for 29 bits.
func ParseID(s string) (ID, error) {
	v, err := strconv.ParseUint(s, 16, 32)
	switch {
	case err != nil || strings.ContainsAny(s, "+-_"):
	case len(s) == 3 && v <= can.MaxID:
		return ID11(uint32(v)), nil
	case len(s) == 8 && v <= can.MaxExtendedID:
		return ID29(uint32(v)), nil
	}
	return ID{}, fmt.Errorf("link: %q is not a CAN identifier (3 hex digits up to 7FF, or 8 up to 1FFFFFFF)", s)
}

func (i ID) MarshalText() ([]byte, error) { return []byte(i.String()), nil }
func (i *ID) UnmarshalText(b []byte) error {
	v, err := ParseID(string(b))
	if err == nil {
		*i = v
	}
	return err
}

// Mode is the addressing format of ISO 15765-2, or [Header] for a bus that is not CAN.
type Mode uint8

const (
	Normal      Mode = iota // the identifier alone names the receiver
	NormalFixed             // 29-bit 18DAttss / 18DBttss with target and source in the identifier
	Extended                // the first data byte is the target address
	Mixed                   // the first data byte is the address extension
	Header                  // a serial bus whose messages begin with header bytes: see AtHeader
)

// Address is one end of a diagnostic conversation as the tester sees it: the identifier it asks on and the one it is answered on.
type Address struct {
	Mode       Mode
	Request    ID
	Answer     ID    // zero for a functional address, and while not yet known
	Functional bool  // reaches every module that follows the standard
	Target     uint8 // first data byte of a request: N_TA (Extended) or N_AE (Mixed); target byte of its header (Header)
	Source     uint8 // first data byte of an answer: N_TA of the tester (Extended) or N_AE (Mixed); source byte of a request's header (Header)
}

// Headed reports extended and mixed addressing: the data field begins with an address byte, before the control bytes of the
// transport (ISO 15765-2, clauses 10.3.4 and 10.3.5).
func (a Address) Headed() bool { return a.Mode == Extended || a.Mode == Mixed }

// Physical is the address of one module with normal addressing, of either width.
func Physical(request, answer ID) Address {
	a := Address{Request: request, Answer: answer}
	if request.Extended {
		a.Mode = NormalFixed
	}
	return a
}

// Functional11 and Functional29 are the functional addresses of ISO 15765-4: 7DF and 18DB33F1.
func Functional11() Address { return Address{Request: ID11(0x7DF), Functional: true} }
func Functional29() Address {
	return Address{Mode: NormalFixed, Request: ID29(0x18DB33F1), Functional: true}
}

// DefaultAnswer is the answer identifier that ISO 15765-4 pairs with a request identifier: 7E0-7E7 with +8,
// 18DAxxF1 with 18DAF1xx. ok is false for every other identifier, whose pair has to be learnt.
func DefaultAnswer(request ID) (answer ID, ok bool) {
	switch {
	case !request.Extended && request.Value >= 0x7E0 && request.Value <= 0x7E7:
		return ID11(request.Value + 8), true
	case request.Extended && request.Value&0xFFFF00FF == 0x18DA00F1:
		return ID29(0x18DAF100 | request.Value>>8&0xFF), true
	}
	return ID{}, false
}

// Diagnostic reports an identifier that diagnostic messages use: 18DAttss and 18DBttss of ISO 15765-2, and, by common
// practice, 700 to 7FF. A car's ordinary messages have others.
func (i ID) Diagnostic() bool {
	if i.Extended {
		return i.Value>>17 == 0x18DA>>1
	}
	return i.Value >= 0x700 && i.Value <= can.MaxID
}

// Answering is the address of the module that answers on an identifier, as far as the identifier tells: on which one it is
// asked is known of the pairs of [DefaultAnswer] only. ok is false where no module answers a tester by it.
func Answering(id ID) (a Address, ok bool) {
	if !id.Diagnostic() || id.Extended && id.Value&0xFFFFFF00 != 0x18DAF100 {
		return Address{}, false
	}
	request, _ := DefaultRequest(id)
	return Physical(request, id), true
}

// DefaultRequest is the inverse of [DefaultAnswer].
func DefaultRequest(answer ID) (request ID, ok bool) {
	switch {
	case !answer.Extended && answer.Value >= 0x7E8 && answer.Value <= 0x7EF:
		return ID11(answer.Value - 8), true
	case answer.Extended && answer.Value&0xFFFFFF00 == 0x18DAF100:
		return ID29(0x18DA00F1 | answer.Value&0xFF<<8), true
	}
	return ID{}, false
}

func (a Address) String() string {
	var room [32]byte
	return string(a.Append(room[:0]))
}

// Append appends what [Address.String] gives to b.
func (a Address) Append(b []byte) []byte {
	switch {
	case a.Functional:
		return append(a.Request.Append(b), " (all modules)"...)
	case a.Answer.IsZero():
		return a.Request.Append(b)
	case a.Request.IsZero():
		return a.Answer.Append(append(b, "?/"...))
	}
	return a.Answer.Append(append(a.Request.Append(b), '/'))
}
