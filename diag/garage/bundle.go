package garage

import (
	"archive/zip"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strings"
	"time"
)

// A bundle is how records leave the store and come back: a .zip with the rows in one file, the recordings beside it
// under their own names, and a manifest that names each file with its size and SHA-256. It is read with distrust: what
// the manifest does not name, names twice, or names otherwise is not unpacked.

const (
	backUpFormat = "readback store"
	carFormat    = "readback car"

	manifestName    = "manifest.json"
	recordingsPlace = "recordings/"

	bundleVersion = 1 // of the manifest and of what the files are; the schema has its own version

	mostManifest  = 8 << 20
	mostFiles     = 20_000
	mostDirectory = 16 << 20 // of the list of its files, as it lies in the file: eight times what mostFiles need
	// MaxUnpacked is the most that a back-up or a car's file may hold when it is unpacked, in bytes.
	MaxUnpacked = 4 << 30
	// A file that grows more than this when it is unpacked was made to fill a disk.
	mostGrowth      = 200
	growthAllowance = 64 << 20
)

// recordingName is what PutRecording calls a file. Nothing else is unpacked, so no name can lead out of the folder.
var recordingName = regexp.MustCompile(`^[0-9]{8}-[0-9]{6}-[0-9a-f]{8}(-[0-9]{1,4})?\.pcapng$`)

type manifest struct {
	Format  string       `json:"format"`
	Version int          `json:"version"`
	Schema  int          `json:"schema"` // of the rows
	Made    time.Time    `json:"made"`
	Files   []bundleFile `json:"files"`
	Check   Hex          `json:"check"` // SHA-256 of the manifest with an empty check
}

type bundleFile struct {
	Name   string `json:"name"`
	Size   int64  `json:"size"`
	Digest Hex    `json:"sha256"`
}

func (m manifest) check() Hex {
	m.Check = Hex{}
	b, err := json.Marshal(m)
	if err != nil {
		return nil
	}
	sum := sha256.Sum256(b)
	return sum[:]
}

type bundleWriter struct {
	zip *zip.Writer
	m   manifest
}

func newBundleWriter(w io.Writer, format string) *bundleWriter {
	return &bundleWriter{zip.NewWriter(w), manifest{Format: format, Version: bundleVersion, Schema: schemaVersion, Made: time.Now().UTC().Truncate(time.Second), Files: []bundleFile{}}}
}

// add writes one file and notes its size and digest.
func (b *bundleWriter) add(name string, write func(io.Writer) error) error {
	w, err := b.zip.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate, Modified: b.m.Made})
	if err != nil {
		return err
	}
	sum := sha256.New()
	n := &counter{w: io.MultiWriter(w, sum)}
	if err := write(n); err != nil {
		return err
	}
	b.m.Files = append(b.m.Files, bundleFile{name, n.n, sum.Sum(nil)})
	return nil
}

// close writes the manifest and the directory.
func (b *bundleWriter) close() error {
	b.m.Check = b.m.check()
	text, err := json.MarshalIndent(b.m, "", "\t")
	if err != nil {
		return err
	}
	w, err := b.zip.CreateHeader(&zip.FileHeader{Name: manifestName, Method: zip.Deflate, Modified: b.m.Made})
	if err != nil {
		return err
	}
	if _, err := w.Write(text); err != nil {
		return err
	}
	return b.zip.Close()
}

type counter struct {
	w io.Writer
	n int64
}

func (c *counter) Write(b []byte) (int, error) {
	n, err := c.w.Write(b)
	c.n += int64(n)
	return n, err
}

// bundle is an open one whose manifest and directory agree.
type bundle struct {
	m     manifest
	files map[string]*zip.File
	src   *source
}

// source remembers the error of a reader: what could not be read is not thereby damaged. While the list of files is read,
// which is taken into memory before anything of it can be checked, it gives no more than most bytes.
type source struct {
	r    io.ReaderAt
	size int64
	most int64 // 0: it is not limited
	read int64
	err  error
}

var errLongDirectory = fmt.Errorf("its list of files has more than %d bytes", mostDirectory)

func (s *source) ReadAt(p []byte, off int64) (int, error) {
	if off < 0 || off > s.size { // a directory may claim anything
		return 0, io.EOF
	}
	if s.most > 0 && s.read > s.most {
		return 0, errLongDirectory
	}
	n, err := s.r.ReadAt(p, off)
	s.read += int64(n)
	if err != nil && !errors.Is(err, io.EOF) {
		s.err = err
	}
	return n, err
}

// fault is the error of a bundle, unless its reader failed.
func (s *source) fault(f Fault, cause error) error {
	if s.err != nil {
		return fmt.Errorf("garage: read file: %w", s.err)
	}
	return &FileError{Fault: f, Cause: cause}
}

// openBundle checks the directory and the manifest. main is the name of the file with the rows.
func openBundle(r io.ReaderAt, size int64, format, main string) (*bundle, error) {
	b := &bundle{files: map[string]*zip.File{}, src: &source{r: r, size: size, most: mostDirectory}}
	if size > MaxUnpacked+growthAllowance {
		return nil, b.src.fault(FaultTooLarge, fmt.Errorf("it has %d bytes", size))
	}
	z, err := zip.NewReader(b.src, size)
	b.src.most = 0
	switch {
	case errors.Is(err, errLongDirectory):
		return nil, b.src.fault(FaultTooLarge, err)
	case err != nil:
		head := make([]byte, 4)
		if _, err := b.src.ReadAt(head, 0); err == nil && bytes.Equal(head, []byte("PK\x03\x04")) {
			return nil, b.src.fault(FaultDamaged, fmt.Errorf("its end is missing: %w", zip.ErrFormat))
		}
		return nil, b.src.fault(FaultForeign, err)
	}
	if len(z.File) > mostFiles {
		return nil, b.src.fault(FaultTooLarge, fmt.Errorf("it holds %d files, more than %d", len(z.File), mostFiles))
	}
	for _, f := range z.File {
		if b.files[f.Name] != nil {
			return nil, b.src.fault(FaultDamaged, fmt.Errorf("it holds %q twice", f.Name))
		}
		b.files[f.Name] = f
	}
	if err := b.readManifest(format); err != nil {
		return nil, err
	}
	return b, b.checkFiles(size, main)
}

func (b *bundle) readManifest(format string) error {
	f := b.files[manifestName]
	if f == nil {
		return b.src.fault(FaultForeign, errors.New("it has no manifest"))
	}
	if f.UncompressedSize64 > mostManifest {
		return b.src.fault(FaultTooLarge, fmt.Errorf("its manifest has %d bytes", f.UncompressedSize64))
	}
	var text bytes.Buffer
	r, err := f.Open()
	if err == nil {
		_, err = io.Copy(&text, io.LimitReader(r, mostManifest))
		r.Close()
	}
	if err != nil {
		return b.src.fault(FaultDamaged, fmt.Errorf("its manifest: %w", err))
	}
	if err := json.Unmarshal(text.Bytes(), &b.m); err != nil {
		var kind struct {
			Format string `json:"format"`
		}
		if json.Unmarshal(text.Bytes(), &kind); !strings.HasPrefix(kind.Format, "readback ") {
			return b.src.fault(FaultForeign, errors.New("its manifest is not one of ours"))
		}
		return b.src.fault(FaultDamaged, fmt.Errorf("its manifest: %w", err))
	}
	switch {
	case b.m.Format != format && (b.m.Format == backUpFormat || b.m.Format == carFormat):
		return b.src.fault(FaultForeign, fmt.Errorf("it is a %s, not a %s", b.m.Format, format))
	case b.m.Format != format:
		return b.src.fault(FaultForeign, errors.New("its manifest is not one of ours"))
	case b.m.Version > bundleVersion || b.m.Schema > schemaVersion:
		return b.src.fault(FaultNewer, fmt.Errorf("it has version %d with schema version %d; this program knows versions up to %d and %d", b.m.Version, b.m.Schema, bundleVersion, schemaVersion))
	case b.m.Version < 1 || b.m.Schema < 1 || !bytes.Equal(b.m.Check, b.m.check()):
		return b.src.fault(FaultDamaged, errors.New("its manifest does not have the check it was written with"))
	}
	return nil
}

// checkFiles compares the manifest with the directory.
func (b *bundle) checkFiles(size int64, main string) error {
	total, named := int64(0), map[string]bool{}
	for _, f := range b.m.Files {
		z := b.files[f.Name]
		base, isRecording := strings.CutPrefix(f.Name, recordingsPlace)
		switch {
		case f.Name != main && !(isRecording && recordingName.MatchString(base)):
			return b.src.fault(FaultDamaged, fmt.Errorf("%q is not a name for a file in it", f.Name))
		case named[f.Name]:
			return b.src.fault(FaultDamaged, fmt.Errorf("its manifest names %q twice", f.Name))
		case z == nil:
			return b.src.fault(FaultDamaged, fmt.Errorf("%q is missing", f.Name))
		case f.Size < 0 || z.UncompressedSize64 != uint64(f.Size) || !z.Mode().IsRegular():
			return b.src.fault(FaultDamaged, fmt.Errorf("%q is not as its manifest says", f.Name))
		case len(f.Digest) != sha256.Size:
			return b.src.fault(FaultDamaged, fmt.Errorf("%q has no digest", f.Name))
		}
		named[f.Name] = true
		if total += f.Size; total > MaxUnpacked || f.Size > MaxUnpacked || total > growthAllowance+mostGrowth*size {
			return b.src.fault(FaultTooLarge, fmt.Errorf("unpacked it would have %d bytes or more", total))
		}
	}
	if !named[main] {
		return b.src.fault(FaultDamaged, fmt.Errorf("%q is missing", main))
	}
	if len(named)+1 != len(b.files) {
		return b.src.fault(FaultDamaged, errors.New("it holds files that its manifest does not name"))
	}
	return nil
}

// recordings are the files of the recordings by their names within the folder.
func (b *bundle) recordings() map[string]bundleFile {
	found := map[string]bundleFile{}
	for _, f := range b.m.Files {
		if base, ok := strings.CutPrefix(f.Name, recordingsPlace); ok {
			found[base] = f
		}
	}
	return found
}

func (b *bundle) file(name string) bundleFile {
	for _, f := range b.m.Files {
		if f.Name == name {
			return f
		}
	}
	return bundleFile{}
}

// unpack hands the bytes of one file to use, which must read to their end. They are what the manifest says only when
// it has returned without an error: what was made of them before that has to be dropped.
func (b *bundle) unpack(ctx context.Context, f bundleFile, use func(io.Reader) error) error {
	r, err := b.files[f.Name].Open()
	if err != nil {
		return b.src.fault(FaultDamaged, fmt.Errorf("%q: %w", f.Name, err))
	}
	defer r.Close()
	sum := sha256.New()
	in := &patient{ctx: ctx, r: io.TeeReader(io.LimitReader(r, f.Size), sum)}
	useErr := use(in)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	// What use made of damaged bytes is no news: the damage is. The last bytes may be whole and come with the damage.
	if _, err := io.Copy(io.Discard, in); err != nil || in.failed || !bytes.Equal(sum.Sum(nil), f.Digest) {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		return b.src.fault(FaultDamaged, fmt.Errorf("%q does not have the digest it was written with", f.Name))
	}
	return useErr
}

// patient is a reader that ends with its context, and remembers that reading failed.
type patient struct {
	ctx    context.Context
	r      io.Reader
	failed bool
}

func (p *patient) Read(b []byte) (int, error) {
	if err := p.ctx.Err(); err != nil {
		return 0, err
	}
	n, err := p.r.Read(b)
	p.failed = p.failed || err != nil && err != io.EOF
	return n, err
}
