package obd

import "fmt"

// Info is one information type of service 09.
type Info struct {
	Kind     byte
	Name     string    // in plain words; "" for a type that is not described here
	Items    []string  // texts, check values or numbers; empty when only Raw is known
	Tracking *Tracking // 08 and 0B
	Raw      []byte    // without the number of items
}

// infoForm is the form of the items of an information type.
type infoForm int

const (
	infoText infoForm = iota
	infoHex
	infoNumber
	infoTracking
)

// infos are the types on CAN. Those up to 0B are in a public table; 0D-14 after a public listing of the tables of SAE
// J1979-DA.
var infos = map[byte]struct {
	name string
	size int // bytes an item
	form infoForm
}{
	infoVIN:         {"vehicle identification number", 17, infoText},
	infoCalibration: {"calibration name", 16, infoText},
	infoCheck:       {"check value of the software", 4, infoHex},
	infoSpark:       {"self-tests in use", 2, infoTracking},
	infoName:        {"name of the module", 20, infoText},
	infoCompression: {"self-tests in use", 2, infoTracking},
	0x0D:            {"serial number of the engine", 17, infoText},
	0x0F:            {"type approval number of the exhaust treatment", 17, infoText},
	0x11:            {"number of the technical regulation", 11, infoText},
	0x12:            {"trips with the engine run on fuel", 2, infoNumber},
	0x14:            {"distance since the last result for tank venting, km", 2, infoNumber},
}

// InfoName is what an information type of service 09 is; ok is false for one that is not described here.
func InfoName(kind byte) (name string, ok bool) {
	x, ok := infos[kind]
	return x.name, ok
}

// DecodeInfo reads 49 on CAN: the type, the number of items, the items. Of a type that is not described here, and of one
// whose items don't fit, the bytes stay raw; a number of items that is not there is no error then.
func DecodeInfo(a []byte) (Info, error) {
	const op = "vehicle information"
	if len(a) < 3 {
		return Info{}, &ShapeError{op, a, "the answer holds no item"}
	}
	x, ok := infos[a[1]]
	if !ok {
		return Info{Kind: a[1], Raw: a[2:]}, nil
	}
	b, err := counted(x.name, a, x.size)
	if err != nil {
		return Info{Kind: a[1], Name: x.name, Raw: a[2:]}, err
	}
	return decodeItems(a[1], b)
}

// DecodeInfoData reads the data of one information type by itself, as in a data record F8xx of J1979-2. Whether the number
// of items is there shows in the length: the forms of the standard and open practice differ (from memory).
func DecodeInfoData(kind byte, data []byte) (Info, error) {
	x, ok := infos[kind]
	if !ok {
		return Info{Kind: kind, Raw: data}, nil
	}
	switch n := len(data); {
	case n > 0 && n%x.size == 0:
		return decodeItems(kind, data)
	case n > 1 && (n-1)%x.size == 0 && int(data[0]) == (n-1)/x.size:
		return decodeItems(kind, data[1:])
	}
	return Info{Kind: kind, Name: x.name, Raw: data}, &ShapeError{x.name, data, fmt.Sprintf("items have %d bytes", x.size)}
}

// decodeItems reads whole items of a type that is described.
func decodeItems(kind byte, b []byte) (Info, error) {
	x := infos[kind]
	out := Info{Kind: kind, Name: x.name, Raw: b, Items: []string{}}
	if x.form == infoTracking {
		t := decodeTracking(kind, b)
		out.Tracking = &t
		return out, nil
	}
	for ; len(b) > 0; b = b[x.size:] {
		item := b[:x.size]
		switch x.form {
		case infoText:
			s, ok := text(item)
			if !ok {
				return out, &ShapeError{x.name, out.Raw, "the item is not text"}
			}
			out.Items = append(out.Items, s)
		case infoHex:
			out.Items = append(out.Items, fmt.Sprintf("%X", item))
		case infoNumber:
			out.Items = append(out.Items, fmt.Sprint(int(item[0])<<8|int(item[1])))
		}
	}
	return out, nil
}

// messages are the types that tell a number of messages on the older buses, where those are asked for next.
var messages = map[byte]byte{0x01: infoVIN, 0x03: infoCalibration, 0x05: infoCheck, 0x07: infoSpark, 0x09: infoName}

// DecodeMessageCount reads 49 01, 03, 05, 07 and 09: how many messages the next type has on the older buses.
func DecodeMessageCount(a []byte) (kind byte, count int, err error) {
	if len(a) < 3 || messages[a[1]] == 0 {
		return 0, 0, &ShapeError{"number of messages", a, "this is no number of messages"}
	}
	return messages[a[1]], int(a[2]), nil
}
