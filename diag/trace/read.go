package trace

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"strings"

	"github.com/gopacket/gopacket/layers"
	"github.com/gopacket/gopacket/pcapgo"

	"readback/diag/bus"
)

// Limits of a recording that is read.
const (
	MaxFileSize = 512 << 20  // bytes
	MaxPackets  = 10_000_000 // frames
)

// FormatError means that a file is not a recording that can be read, or not beyond some packet.
type FormatError struct {
	Path   string
	Packet int // packets read before, of any kind
	Text   string
	Cause  error // may be nil
}

func (e *FormatError) Error() string {
	s := fmt.Sprintf("trace: read %s: after %d packets: %s", e.Path, e.Packet, e.Text)
	if e.Cause != nil {
		s += ": " + e.Cause.Error()
	}
	return s
}

func (e *FormatError) Unwrap() error { return e.Cause }

// ReadFile reads the frames of a pcapng file, one at a time, in the order of the file. Packets of other link types are
// passed over; a file without one of link type 227 ends with a [*FormatError]. Reports of a controller and CAN FD frames come
// as troubles. An error ends the sequence; what came before it is good.
func ReadFile(path string) iter.Seq2[Entry, error] {
	return func(yield func(Entry, error) bool) {
		f, err := os.Open(path)
		if err != nil {
			yield(Entry{}, fmt.Errorf("trace: read recording: %w", err))
			return
		}
		defer f.Close()
		if info, err := f.Stat(); err != nil || info.Size() > MaxFileSize || info.IsDir() {
			e := &FormatError{Path: path, Text: fmt.Sprintf("not a file of at most %d bytes", MaxFileSize), Cause: err}
			yield(Entry{}, e)
			return
		}
		for e, err := range Read(f, path) {
			if !yield(e, err) {
				return
			}
		}
	}
}

// Read is [ReadFile] on an open file; name stands for it in errors.
func Read(r io.Reader, name string) iter.Seq2[Entry, error] {
	return func(yield func(Entry, error) bool) {
		p := packets{name: name, in: io.LimitReader(r, MaxFileSize)}
		if err := p.open(); err != nil {
			yield(Entry{}, err)
			return
		}
		for seq := uint64(1); ; seq++ {
			e, err := p.next()
			if err == io.EOF {
				return
			}
			e.Seq = seq
			if !yield(e, err) || err != nil {
				return
			}
		}
	}
}

// packets reads the packets of one recording.
type packets struct {
	name  string
	in    io.Reader
	ng    *pcapgo.NgReader
	big   bool // the file's numbers have their most significant byte first
	n     int
	other int // packets of other link types
	slab  slab
}

// sectionMagic is the byte-order magic of a section header block, behind its type and length.
var sectionMagic = []byte{0x1A, 0x2B, 0x3C, 0x4D}

func (p *packets) open() error {
	head := make([]byte, 12)
	n, err := io.ReadFull(p.in, head)
	if err != nil || !bytes.Equal(head[:4], []byte{0x0A, 0x0D, 0x0D, 0x0A}) {
		if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			err = nil
		}
		return p.fail("this is not a pcapng file", err) // compressed ones included: their size could not be limited
	}
	p.big = bytes.Equal(head[8:], sectionMagic)
	p.ng, err = pcapgo.NewNgReader(io.MultiReader(bytes.NewReader(head[:n]), p.in), pcapgo.NgReaderOptions{WantMixedLinkType: true, SkipUnknownVersion: true})
	if err != nil {
		return p.fail("its beginning can't be read", err)
	}
	return nil
}

func (p *packets) fail(text string, cause error) error {
	return &FormatError{Path: p.name, Packet: p.n, Text: text, Cause: cause}
}

// next is the next frame, or io.EOF.
func (p *packets) next() (Entry, error) {
	for {
		data, ci, options, err := p.ng.ZeroCopyReadPacketDataWithOptions()
		switch {
		case err == io.EOF && p.n > 0 && p.n == p.other:
			return Entry{}, p.fail(fmt.Sprintf("no packet is a CAN frame of link type %d", LinkType), nil)
		case err == io.EOF:
			return Entry{}, io.EOF
		case err != nil:
			return Entry{}, p.fail("the file is cut off or damaged here", err)
		case p.n == MaxPackets:
			return Entry{}, p.fail("more packets than this program reads", nil)
		}
		p.n++
		if len(ci.AncillaryData) == 0 || ci.AncillaryData[0] != layers.LinkType(LinkType) {
			p.other++
			continue
		}
		e, err := parsePacket(data, &p.slab)
		if err != nil {
			return Entry{}, p.fail("not a CAN frame", err)
		}
		e.At, e.Direction = ci.Timestamp, p.direction(options.Flags)
		for _, c := range options.Comments {
			e.Text = strings.TrimPrefix(e.Text+"\n"+c, "\n")
		}
		return e, nil
	}
}

// direction reads the lowest two bits of the flags. The library reads the flags of files of either byte order as
// though their least significant byte came first; in the others the two bits are then found 24 places higher.
func (p *packets) direction(f *pcapgo.NgEpbFlags) bus.Direction {
	if f == nil {
		return bus.In
	}
	d := f.Direction
	if p.big {
		d = f.LinkLayerErr >> 24 & pcapgo.NgEpbFlagDirectionMask
	}
	if d == pcapgo.NgEpbFlagDirectionOutbound {
		return bus.Out
	}
	return bus.In
}
