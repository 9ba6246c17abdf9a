package signal

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"encoding/hex"
	"encoding/json"
	"io"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"go.einride.tech/can"
	"go.einride.tech/can/pkg/dbc"
	"go.einride.tech/can/pkg/descriptor"

	"readback/diag/link"
	"readback/testdata"
)

// files are the definition files of the published tests by name.
func files(t testing.TB) map[string][]byte {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(testdata.SignalFiles), int64(len(testdata.SignalFiles)))
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]byte{}
	for _, f := range z.File {
		if f.Name == "LICENSE" {
			continue
		}
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		if out[f.Name], err = io.ReadAll(r); err != nil {
			t.Fatal(err)
		}
		r.Close()
	}
	return out
}

type vector struct {
	File     string
	ID       uint32
	Extended bool `json:"ext"`
	Len      int
	Data     string
	Values   map[string]json.Number `json:"v"`
}

func (v vector) id() link.ID {
	if v.Extended {
		return link.ID29(v.ID)
	}
	return link.ID11(v.ID)
}

// file is the file of a vector, read once.
func (v vector) file(t testing.TB, all map[string][]byte, read map[string]*File) *File {
	t.Helper()
	if read[v.File] == nil {
		read[v.File] = parse(t, v.File, all[v.File])
	}
	return read[v.File]
}

func (v vector) bytes(t testing.TB) []byte {
	t.Helper()
	b, err := hex.DecodeString(v.Data)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func vectors(t testing.TB) (out []vector) {
	t.Helper()
	z, err := gzip.NewReader(bytes.NewReader(testdata.SignalValues))
	if err != nil {
		t.Fatal(err)
	}
	d := json.NewDecoder(z)
	d.UseNumber()
	for d.More() {
		var v vector
		if err := d.Decode(&v); err != nil {
			t.Fatal(err)
		}
		out = append(out, v)
	}
	if len(out) != 1152 {
		t.Fatalf("%d vectors, want 1152", len(out))
	}
	return out
}

func parse(t testing.TB, name string, text []byte) *File {
	t.Helper()
	f, err := Read(bytes.NewReader(text), name)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// TestVectors: every value that cantools decodes is the same here, and no other value is there.
func TestVectors(t *testing.T) {
	all, read := files(t), map[string]*File{}
	compared := 0
	for _, v := range vectors(t) {
		f, data := v.file(t, all, read), v.bytes(t)
		got, ok := decode(f, v.id(), data)
		if !ok {
			t.Errorf("%s: no message %s; problems %v", v.File, v.id(), f.Problems)
			continue
		}
		there := map[string]Value{}
		for _, x := range got {
			if !x.Missing {
				there[x.Signal.Name] = x
			}
		}
		for name, want := range v.Values {
			x, ok := there[name]
			if !ok {
				t.Errorf("%s %s %s: no %s", v.File, v.id(), v.Data, name)
				continue
			}
			delete(there, name)
			compared++
			same(t, v, x, want)
		}
		for name, x := range there {
			t.Errorf("%s %s %s: %s is %s, which cantools does not have", v.File, v.id(), v.Data, name, x)
		}
	}
	if compared != 2355 {
		t.Errorf("%d values compared, want 2355", compared)
	}
}

func same(t *testing.T, v vector, x Value, want json.Number) {
	t.Helper()
	n, err := want.Float64()
	if err != nil {
		t.Fatal(err)
	}
	if x.Number != n && !(math.IsNaN(x.Number) && math.IsNaN(n)) && math.Abs(x.Number-n) > 1e-12*math.Abs(n) {
		t.Errorf("%s %s %s: %s is %v, cantools has %s", v.File, v.id(), v.Data, x.Signal.Name, x.Number, want)
	}
	if !strings.ContainsAny(string(want), ".eEN") && x.Digits() != string(want) && x.Signal.whole && !x.Signal.Float {
		t.Errorf("%s %s %s: %s is shown as %s, cantools has %s", v.File, v.id(), v.Data, x.Signal.Name, x.Digits(), want)
	}
}

// secondOpinion is a signal as go.einride.tech/can decodes it, without limiting it to its range. ok is false where that
// library is known not to serve: data fields of more than 8 bytes can't be represented, numbers of one bit are taken
// without factor, offset and sign, and floating numbers of 16 bits are unknown to it.
func secondOpinion(s *Signal, data []byte) (n float64, ok bool) {
	if len(data) > can.MaxDataLength || s.Bits == 1 || s.Float && s.Bits == 16 {
		return 0, false
	}
	d := descriptor.Signal{Start: uint8(s.Start), Length: uint8(s.Bits), IsBigEndian: s.BigEndian, IsSigned: s.Signed,
		IsFloat: s.Float, Scale: s.Factor, Offset: s.Offset}
	var f can.Data
	copy(f[:], data)
	switch {
	case s.Float && s.Bits == 32:
		return d.UnmarshalFloat(f)*s.Factor + s.Offset, true
	case s.Float:
		return 0, false
	}
	return d.UnmarshalPhysical(f), true
}

// TestSecondOpinion decodes the vectors, and as many random fields again, with another library.
func TestSecondOpinion(t *testing.T) {
	all, read := files(t), map[string]*File{}
	random := rand.New(rand.NewPCG(1, 2))
	compared := 0
	for _, v := range vectors(t) {
		f, data := v.file(t, all, read), v.bytes(t)
		for range 2 {
			values, _ := decode(f, v.id(), data)
			for _, x := range values {
				want, ok := secondOpinion(x.Signal, data)
				if x.Missing || !ok {
					continue
				}
				compared++
				if math.Abs(x.Number-want) > 1e-12*math.Abs(want) {
					t.Errorf("%s %s %X: %s is %v, the other library has %v", v.File, v.id(), data, x.Signal.Name, x.Number, want)
				}
			}
			for i := range data {
				data[i] = byte(random.Uint32())
			}
		}
	}
	if compared < 3800 {
		t.Errorf("only %d values compared", compared)
	}
}

// TestSecondParse: what the other library's parser reads, it reads alike. It refuses files of other letters than UTF-8,
// among others; there it says nothing.
func TestSecondParse(t *testing.T) {
	agreed := 0
	for name, text := range files(t) {
		p := dbc.NewParser(name, text)
		if p.Parse() != nil {
			continue
		}
		agreed++
		f := parse(t, name, text)
		messages := 0
		for _, d := range p.Defs() {
			m, ok := d.(*dbc.MessageDef)
			if !ok || dbc.IsIndependentSignalsMessage(m) {
				continue
			}
			messages++
			id := link.ID{Value: m.MessageID.ToCAN(), Extended: m.MessageID.IsExtended()}
			ours, ok := f.Message(id)
			if !ok || ours.Length != int(m.Size) || len(ours.Signals) != len(m.Signals) {
				t.Errorf("%s: message %s is %+v, the other library has %+v", name, id, ours, m)
				continue
			}
			for i, s := range m.Signals {
				o := ours.Signals[i]
				if o.Switch && o.Selected != nil {
					continue // m5M: the other library loses the M
				}
				if o.Start != int(s.StartBit) || o.Bits != int(s.Size) || o.BigEndian != s.IsBigEndian || o.Signed != s.IsSigned || o.Factor != s.Factor ||
					o.Offset != s.Offset || o.Min != s.Minimum || o.Max != s.Maximum || o.Unit != s.Unit || o.Switch != s.IsMultiplexerSwitch || (o.Selected != nil) != s.IsMultiplexed {
					t.Errorf("%s: signal %+v, the other library has %+v", name, o, s)
				}
			}
		}
		if messages != len(f.Messages) {
			t.Errorf("%s: %d messages, the other library has %d", name, len(f.Messages), messages)
		}
	}
	if agreed < 60 {
		t.Errorf("the other library reads only %d files", agreed)
	}
}
