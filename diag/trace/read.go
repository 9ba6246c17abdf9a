package trace

import (
	"bufio"
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
// as troubles. An error ends the sequence; what came before it is good. See [Open] for long recordings.
func ReadFile(path string) iter.Seq2[Entry, error] {
	return func(yield func(Entry, error) bool) {
		r, err := Open(path)
		if err != nil {
			yield(Entry{}, err)
			return
		}
		defer r.Close()
		r.each(yield)
	}
}

// Read is [ReadFile] on an open file; name stands for it in errors.
func Read(r io.Reader, name string) iter.Seq2[Entry, error] {
	return func(yield func(Entry, error) bool) {
		p, err := newReader(r, name)
		if err != nil {
			yield(Entry{}, err)
			return
		}
		p.each(yield)
	}
}

// Reader reads a recording in pieces, for those who go through a long one once: no memory is taken for single frames.
type Reader struct {
	name  string
	in    *bufio.Reader
	ng    *pcapgo.NgReader // reads from in, too
	file  *os.File         // nil when there is none to close
	big   bool             // the file's numbers have their most significant byte first
	n     int
	other int // packets of other link types
	seq   uint64
	plain plain
}

// Batch is a piece of a recording. What its entries point at is used again when it is filled anew.
type Batch struct {
	Entries []Entry
	room    []carried
}

// BatchSize is how many entries are read into a Batch at a time.
const BatchSize = 4096

// bufferSize is how much of a file is read at a time, in bytes.
const bufferSize = 256 << 10

// Open opens a pcapng file; see [ReadFile] for what is read of it. The Reader has to be closed.
func Open(path string) (*Reader, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("trace: read recording: %w", err)
	}
	if info, err := f.Stat(); err != nil || info.Size() > MaxFileSize || info.IsDir() {
		f.Close()
		return nil, &FormatError{Path: path, Text: fmt.Sprintf("not a file of at most %d bytes", MaxFileSize), Cause: err}
	}
	r, err := newReader(f, path)
	if err != nil {
		f.Close()
		return nil, err
	}
	r.file = f
	return r, nil
}

// Close closes the file.
func (p *Reader) Close() error {
	if p.file == nil {
		return nil
	}
	return p.file.Close()
}

// Fill puts the next entries into b, at most [BatchSize]. The error is io.EOF where the recording ends, and else a
// [*FormatError]; in b is what came before it.
func (p *Reader) Fill(b *Batch) error {
	if b.Entries == nil {
		b.Entries, b.room = make([]Entry, BatchSize), make([]carried, BatchSize)
	}
	b.Entries = b.Entries[:BatchSize]
	for i := range b.Entries {
		if err := p.next(&b.Entries[i], &b.room[i]); err != nil {
			b.Entries = b.Entries[:i]
			return err
		}
	}
	return nil
}

// each yields entries that belong to their receiver.
func (p *Reader) each(yield func(Entry, error) bool) {
	var s slab
	for {
		var e Entry
		err := p.next(&e, s.next())
		if err == io.EOF || !yield(e, err) || err != nil {
			return
		}
	}
}

// sectionMagic is the byte-order magic of a section header block, behind its type and length.
var sectionMagic = []byte{0x1A, 0x2B, 0x3C, 0x4D}

func newReader(r io.Reader, name string) (*Reader, error) {
	p := &Reader{name: name, in: bufio.NewReaderSize(&bounded{r, MaxFileSize}, bufferSize)}
	head, err := p.in.Peek(16)
	if len(head) < 12 || !bytes.Equal(head[:4], []byte{0x0A, 0x0D, 0x0D, 0x0A}) {
		if err == io.EOF {
			err = nil
		}
		return nil, p.fail("this is not a pcapng file", err) // compressed ones included: their size could not be limited
	}
	p.big = bytes.Equal(head[8:12], sectionMagic)
	p.plain.begin(head)
	// The library takes over a bufio.Reader that is large enough.
	p.ng, err = pcapgo.NewNgReader(p.in, pcapgo.NgReaderOptions{WantMixedLinkType: true, SkipUnknownVersion: true,
		SectionEndCallback: func([]pcapgo.NgInterface, pcapgo.NgSectionInfo) { p.plain.off = true }})
	if err != nil {
		return nil, p.fail("its beginning can't be read", err)
	}
	return p, nil
}

func (p *Reader) fail(text string, cause error) error {
	return &FormatError{Path: p.name, Packet: p.n, Text: text, Cause: cause}
}

// next puts the next frame into e, and what it points at into c; the error is io.EOF at the end.
func (p *Reader) next(e *Entry, c *carried) error {
	if !p.plain.read(p, e, c) {
		p.plain.release(p.in)
		if err := p.read(e, c); err != nil {
			*e = Entry{}
			return err
		}
		p.plain.learn(p.ng)
	}
	p.seq++
	e.Seq = p.seq
	return nil
}

// read is next by the library.
func (p *Reader) read(e *Entry, c *carried) error {
	for {
		data, ci, options, err := p.ng.ZeroCopyReadPacketDataWithOptions()
		switch {
		case err == io.EOF && p.n > 0 && p.n == p.other:
			return p.fail(fmt.Sprintf("no packet is a CAN frame of link type %d", LinkType), nil)
		case err == io.EOF:
			return io.EOF
		case errors.Is(err, errTooLarge):
			return p.fail(errTooLarge.Error(), nil)
		case err != nil:
			return p.fail("the file is cut off or damaged here", err)
		case p.n == MaxPackets:
			return p.fail("more packets than this program reads", nil)
		}
		p.n++
		if len(ci.AncillaryData) == 0 || ci.AncillaryData[0] != layers.LinkType(LinkType) {
			p.other++
			continue
		}
		if err := parsePacket(data, e, c); err != nil {
			return p.fail("not a CAN frame", err)
		}
		e.At, e.Direction = ci.Timestamp, p.direction(options.Flags)
		for _, c := range options.Comments {
			e.Text = strings.TrimPrefix(e.Text+"\n"+c, "\n")
		}
		return nil
	}
}

// direction reads the lowest two bits of the flags. The library reads the flags of files of either byte order as
// though their least significant byte came first; in the others the two bits are then found 24 places higher.
func (p *Reader) direction(f *pcapgo.NgEpbFlags) bus.Direction {
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
