package trace

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/gopacket/gopacket"
	"github.com/gopacket/gopacket/layers"
	"github.com/gopacket/gopacket/pcapgo"

	"readback/diag/bus"
)

// Writer writes entries as pcapng: one enhanced packet block a frame, with nanosecond times and the direction in its
// flags (epb_flags: 1 inbound, 2 outbound). Words of troubles become comments of the frame before them, or of the first
// frame. Messages are not written: their frames are.
type Writer struct {
	ng   *pcapgo.NgWriter
	buf  []byte
	held Entry // the newest frame, which may still get comments
	has  bool
	said []string // comments for held, or for the first frame
}

// NewWriter begins a pcapng file on w. Close must be called to write the last frame.
func NewWriter(w io.Writer) (*Writer, error) {
	ng, err := pcapgo.NewNgWriterInterface(w,
		pcapgo.NgInterface{Name: "can", LinkType: layers.LinkType(LinkType), TimestampResolution: 9},
		pcapgo.NgWriterOptions{SectionInfo: pcapgo.NgSectionInfo{Application: "Readback"}})
	if err != nil {
		return nil, fmt.Errorf("trace: begin pcapng: %w", err)
	}
	return &Writer{ng: ng}, nil
}

// Write adds an entry. A frame's time must lie between 1970 and 2261.
func (w *Writer) Write(e Entry) error {
	switch e.Level {
	case Frame:
		if len(e.Frames) != 1 {
			return fmt.Errorf("trace: write pcapng: a frame entry with %d frames", len(e.Frames))
		}
		if n := e.At.UnixNano(); n < 0 || !time.Unix(0, n).Equal(e.At) {
			return fmt.Errorf("trace: write pcapng: the time %s can't be written", e.At)
		}
		if w.has {
			if err := w.flush(); err != nil {
				return err
			}
		}
		w.held, w.has = e, true
		w.say(e.Text)
	case Trouble:
		w.say(e.Text)
	}
	return nil
}

func (w *Writer) say(text string) {
	if text != "" {
		w.said = append(w.said, shorten(text))
	}
}

// shorten keeps a comment within the 65535 bytes that pcapng has for an option.
func shorten(s string) string {
	const most = 4096
	if len(s) <= most {
		return s
	}
	return strings.ToValidUTF8(s[:most], "") + "..." // a letter may have been cut in two
}

func (w *Writer) flush() error {
	w.buf = appendPacket(w.buf[:0], w.held.Frames[0])
	direction := pcapgo.NgEpbFlagDirectionInbound
	if w.held.Direction == bus.Out {
		direction = pcapgo.NgEpbFlagDirectionOutbound
	}
	err := w.ng.WritePacketWithOptions(
		gopacket.CaptureInfo{Timestamp: w.held.At, CaptureLength: len(w.buf), Length: len(w.buf)}, w.buf,
		pcapgo.NgPacketOptions{Flags: &pcapgo.NgEpbFlags{Direction: direction}, Comments: w.said})
	w.has, w.said = false, w.said[:0]
	if err != nil {
		return fmt.Errorf("trace: write pcapng: %w", err)
	}
	return nil
}

// Close writes what is held back. It does not close the io.Writer.
func (w *Writer) Close() error {
	if w.has {
		if err := w.flush(); err != nil {
			return err
		}
	}
	if err := w.ng.Flush(); err != nil {
		return fmt.Errorf("trace: write pcapng: %w", err)
	}
	return nil
}

// WriteFile writes the frames of entries to a pcapng file at path, which only the user can read (0600). The file
// appears whole or not at all; one that is there already is replaced only by a whole new one.
func WriteFile(ctx context.Context, path string, entries []Entry) (err error) {
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+"-*")
	if err != nil {
		return fmt.Errorf("trace: write %s: %w", path, err)
	}
	defer func() {
		if err != nil {
			err = fmt.Errorf("trace: write %s: %w", path, err)
			f.Close()
			os.Remove(f.Name())
		}
	}()
	w, err := NewWriter(f)
	if err != nil {
		return err
	}
	for i, e := range entries {
		if i%1024 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		if err := w.Write(e); err != nil {
			return err
		}
	}
	if err := errors.Join(w.Close(), f.Sync(), f.Close()); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}
