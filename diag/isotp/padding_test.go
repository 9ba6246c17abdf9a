package isotp

import (
	"slices"
	"testing"

	"readback/diag/link"
)

// TestPadding: clause 10.4.2 leaves the byte to the sender; 55, AA, CC and 00 are seen in cars (common practice).
func TestPadding(t *testing.T) {
	for _, c := range []struct {
		name string
		pad  Padding
		want string
	}{
		{"the zero value", 0, "0 745#023E005555555555"},
		{"a byte", 0xAA, "0 745#023E00AAAAAAAAAA"},
		{"00", PadZero, "0 745#023E000000000000"},
		{"learnt, with nothing heard", PadLearnt, "0 745#023E005555555555"},
	} {
		t.Run(c.name, func(t *testing.T) {
			inLab(t, Options{Pad: c.pad}, func(l *lab) {
				if err := <-l.sends(door, []byte{0x3E, 0x00}); err != nil {
					l.Fatal(err)
				}
				l.wrote(c.want)
			})
		})
	}
}

// TestPaddingLearnt: each module is spoken to with the byte that fills its own frames.
func TestPaddingLearnt(t *testing.T) {
	other := link.Physical(link.ID11(0x740), link.ID11(0x760))
	for _, c := range []struct {
		name string
		says []string
		to   link.Address
		want byte
	}{
		{"from a single frame", []string{"765#027E00AAAAAAAAAA"}, door, 0xAA},
		{"00 is a byte like any other", []string{"765#027E000000000000"}, door, 0x00},
		{"from the last consecutive frame", []string{"765#1008010203040506", "765#210708CCCCCCCCCC"}, door, 0xCC},
		{"from flow control", []string{"765#300000FFFFFFFFFF"}, door, 0xFF},
		{"behind an address byte", []string{"612#F1027E00BBBBBBBB"}, extended, 0xBB},
		{"a full frame tells nothing", []string{"765#0701020304050607"}, door, 0x55},
		{"a short frame tells nothing", []string{"765#027E00"}, door, 0x55},
		{"bytes that differ are left-overs", []string{"765#027E000102030405"}, door, 0x55},
		{"the byte seen most", []string{"765#0601020304050631", "765#027E00AAAAAAAAAA", "765#0601020304050632"}, door, 0xAA},
		{"another module's byte where its own is not known", []string{"7E8#027E00AAAAAAAAAA"}, door, 0xAA},
		{"the byte of most modules", []string{"7E8#027E00AAAAAAAAAA", "7E9#027E00CCCCCCCCCC", "760#027E00CCCCCCCCCC"}, door, 0xCC},
		{"its own against that of most", []string{"765#027E00AAAAAAAAAA", "7E9#027E00CCCCCCCCCC", "760#027E00CCCCCCCCCC"}, door, 0xAA},
		{"to all modules, the byte of most", []string{"7E8#027E00AAAAAAAAAA", "7E9#027E00CCCCCCCCCC", "760#027E00CCCCCCCCCC"}, link.Functional11(), 0xCC},
		{"a search knows the standard's pair", []string{"7E8#027E00AAAAAAAAAA", "7E9#027E00CCCCCCCCCC", "760#027E00CCCCCCCCCC"}, link.Address{Request: engine.Request}, 0xAA},
		{"what is no diagnostic message tells nothing", []string{"123#027E00AAAAAAAAAA"}, door, 0x55},
	} {
		t.Run(c.name, func(t *testing.T) {
			inLab(t, Options{Pad: PadLearnt}, func(l *lab) {
				for _, a := range []link.Address{door, other, extended} {
					l.l.Pair(a)
				}
				l.says(c.says...)
				if got := l.l.Pad(c.to); got != c.want {
					l.Fatalf("fills with %02X, want %02X", got, c.want)
				}
				if err := <-l.sends(c.to, []byte{0x3E, 0x00}); err != nil {
					l.Fatal(err)
				}
				e := l.bus.Entries()
				if f := e[len(e)-1].Frame; f.Data[7] != c.want || f.Data[4] != c.want && !c.to.Headed() {
					l.Errorf("sent %s, want it filled with %02X", f, c.want)
				}
			})
		})
	}
}

// TestPaddingLearntOfFlowControl: the answer to a first frame is filled as the module fills too, and exact frames as
// their owner says.
func TestPaddingLearntOfFlowControl(t *testing.T) {
	inLab(t, Options{Pad: PadLearnt}, func(l *lab) {
		l.says("7E8#027E00AAAAAAAAAA", "7E8#1008010203040506", "7E8#210708AAAAAAAAAA")
		m := link.Message{Address: engine, Data: []byte{0x3E, 0x00}, Exact: []byte{0x02, 0x3E, 0x00, 0, 0, 0, 0, 0}}
		if err := l.l.Send(l.Context(), m); err != nil {
			l.Fatal(err)
		}
		l.wrote("0 7E0#300000AAAAAAAAAA", "0 7E0#023E000000000000")
	})
}

func TestFillings(t *testing.T) {
	inLab(t, Options{}, func(l *lab) {
		l.l.Pair(door)
		l.says("7E8#027E00AAAAAAAAAA", "765#027E000000000000", "7E8#037F3E11AAAAAAAA", "7E9#0701020304050607", "18DAF110#027E00FFFFFFFFFF")
		got := l.l.Fillings()
		want := []Filling{{wide, 0xFF, 5}, {door, 0x00, 5}, {engine, 0xAA, 9}}
		if !slices.Equal(got, want) {
			l.Errorf("learnt %+v, want %+v", got, want)
		}
	})
}
