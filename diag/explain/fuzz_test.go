package explain

import (
	"strings"
	"testing"

	"readback/diag/link"
	"readback/testdata"
)

func seeds(f *testing.F) {
	for _, line := range strings.Split(testdata.ExplainCases, "\n") {
		if c := strings.Split(line, "\t"); len(c) == 5 {
			f.Add(unescaped(c[1]))
		}
	}
	for _, s := range []string{"", "\x00", "\xff\xfe", "7E5 \u202e04", "0x", "0x0x0x", "hhhh", "####", "AT", "AT SH", "ATSH18", "ST", "P", "U0", "&H", "\\x", "7E5…", "７Ｅ５ ０４", "ID: DLC: 8", "at 7E5 de 04", "7E5#\n7E4#", "b''", "请7E5发04 14", "0x18 0xDA 0xF1 0x00 02 10 03", "ID 18 DA F1 00 Data 02 10 03"} {
		f.Add(s)
	}
}

// FuzzExplain: never a panic; what holds for every explanation holds; one other digit gives other words.
func FuzzExplain(f *testing.F) {
	seeds(f)
	f.Fuzz(func(t *testing.T, text string) {
		for _, o := range []Options{{}, {Wish: WishRead}, van()} {
			e := Explain(text, o)
			soundExplanation(t, text, e)
			soundCleaning(t, text, e)
			if e.Frame == nil {
				continue
			}
			if n := len(e.Frame.Data); n > 0 {
				other := append([]byte(nil), e.Frame.Data...)
				other[n-1] ^= 1
				if Words(e.Frame.ID, other) == *e.Words {
					t.Errorf("%q: one other digit, the same words", text)
				}
			}
			soundExplanation(t, text, ExplainFrame(e.Frame.ID, e.Frame.Data, o))
		}
		c := Compare(text, text, Options{})
		if c.A.Frame != nil && !c.Same {
			t.Errorf("%q differs from itself", text)
		}
		for _, other := range []string{"7E5 04 14 FF FF FF 55 55 55", "7E5 02 10 03"} {
			soundComparison(t, Compare(text, other, Options{}))
		}
	})
}

// FuzzParse: cleaning what was cleaned changes nothing, and every digit of a token stands in the text as it was typed.
func FuzzParse(f *testing.F) {
	seeds(f)
	f.Fuzz(func(t *testing.T, text string) {
		c := clean(text)
		runes := []rune(text)
		var parts []string
		for i, tok := range c.tokens {
			if i > 0 && c.tokens[i-1].line != tok.line {
				parts = append(parts, "\n")
			}
			parts = append(parts, tok.text)
			for j, d := range []byte(tok.text) {
				if got := strings.ToUpper(string(runes[tok.at+j])); got != string(rune(d)) {
					t.Fatalf("%q: token %q says %c where the text has %q", text, tok.text, d, got)
				}
			}
		}
		if len(c.tokens) == 0 || strings.Count(strings.Join(parts, " "), "") > maxRunes {
			return
		}
		again := clean(strings.Join(parts, " "))
		if len(again.tokens) != len(c.tokens) {
			t.Fatalf("%q: %d tokens, cleaned again %d", text, len(c.tokens), len(again.tokens))
		}
		for i := range c.tokens {
			if again.tokens[i].text != c.tokens[i].text {
				t.Fatalf("%q: token %q became %q", text, c.tokens[i].text, again.tokens[i].text)
			}
		}
	})
}

// FuzzFrame: any frame and any answer can be explained.
func FuzzFrame(f *testing.F) {
	f.Add(uint32(0x7ED), false, []byte{0x06, 0x59, 0x02, 0xFF, 0x01, 0x43, 0x00, 0x08})
	f.Add(uint32(0x18DAF110), true, []byte{0x10, 0x14, 0x62, 0xF1, 0x90, 0x30, 0x54, 0x4E})
	f.Add(uint32(0x7E8), false, []byte{0x04, 0x41, 0x0C, 0x0B, 0x30})
	f.Fuzz(func(t *testing.T, id uint32, wide bool, data []byte) {
		i := link.ID11(id)
		if wide {
			i = link.ID29(id)
		}
		e := ExplainFrame(i, data, van())
		soundExplanation(t, "a frame", e)
		if ExplainAnswer(nil, data) == "" || ExplainAnswer(data, data) == "" {
			t.Errorf("% X: nothing to say", data)
		}
	})
}

// FuzzExplainMessage: any message, to and from modules of every standard and addressing, alone and cut into frames: its
// fields cover it once, its short form agrees, and to know the standard makes no request safer.
func FuzzExplainMessage(f *testing.F) {
	for _, s := range []string{"14FFFFFF", "5902FF0A801308", "62F190314D3847444D3941584B50303432373838", "7F1478", "410C0B30", "4601812400050000FFFF", "2912", "38010003612F62", "2C02F3011401020304",
		"3411440010000000000020", "8400010000020001103EAABB", "64010C9500000000", "594233FFFE042001430008", "1081", "5802010A8060FFFF", "49020131443447503030523535423132333435", "420C001AF8"} {
		f.Add(unhex(s), byte(0))
	}
	f.Fuzz(func(t *testing.T, p []byte, how byte) {
		a := link.Address{Request: link.ID11(0x7E0), Answer: link.ID11(0x7E8), Mode: link.Mode(how & 3), Functional: how&4 != 0, Target: how, Source: how}
		var before Class
		for i, protocol := range []string{"", "UDS", "KWP", "OBD"} {
			o := Options{Modules: []Module{{Name: "A", Address: a, Protocol: protocol}}}
			e := ExplainMessage(a, p, o)
			soundMessage(t, protocol, e, p)
			if b := Summary(a, p, o); b.Class != e.Class || b.Direction != e.Direction || b.Text == "" {
				t.Errorf("% X: %+v, explained as %s %s", p, b, e.Direction, e.Class)
			}
			if i == 0 {
				before = e.Class
			} else if danger(e.Class) < danger(before) {
				t.Errorf("% X: %s to a module that speaks %s, %s to an unknown one", p, e.Class, protocol, before)
			}
		}
		frames := [][]byte{}
		for rest := p; len(rest) > 0; rest = rest[min(8, len(rest)):] {
			frames = append(frames, rest[:min(8, len(rest))])
		}
		e := ExplainFrames(a.Answer, frames, Options{Modules: []Module{{Name: "A", Address: a}}})
		soundMessage(t, "frames", e, e.Payload)
	})
}

// An identifier is no identifier where something between its parts can't be read: what is left over may be another one.
func TestUnreadableWithinIdentifier(t *testing.T) {
	for _, text := range []string{
		"18-DA-1\x00-F1-03-22-F1-90", "18 DA 1\x00 F1 03 22 F1 90", "18DA 1\x00 10F1 03 22 F1 90", "18 1\x00 DA#10 F1 03 22", "7\x00 E5#03 22 F1 90",
	} {
		e := Explain(text, Options{})
		if e.Frame != nil && !e.Wrong() {
			t.Errorf("%q: taken as %+v", text, *e.Frame)
		}
		soundCleaning(t, text, e)
	}
}

// A line between two frames that can't be read leaves a gap, and what is shown for it is read the same again.
func TestUnreadableLineBetweenFrames(t *testing.T) {
	text := "7E8 10 14 49 02 01 31 31 34\n7E8 21 \x03\xe8 50 30 30 52 35\xff\x895\n7E8 22 42 31 33 23 33 35 36"
	e := Explain(text, Options{})
	if e.Cleaned == nil || !strings.Contains(e.Cleaned.Text, "??") {
		t.Fatalf("read as %+v", e.Cleaned)
	}
	soundCleaning(t, text, e)
}
