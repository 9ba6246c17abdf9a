package main

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"cmp"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"path"
	"slices"
	"strings"
	"time"
)

// packed is one file of a package.
type packed struct {
	name    string // with slashes, from the package's top
	program bool   // may be started
	content []byte
}

func (f packed) mode() int64 {
	if f.program {
		return 0o755
	}
	return 0o644
}

// byName sorts files: a package does not depend on the order in which its files were found.
func byName(files []packed) []packed {
	out := slices.Clone(files)
	slices.SortFunc(out, func(a, b packed) int { return cmp.Compare(a.name, b.name) })
	return out
}

// folders are all folders that these files lie in, those outside first.
func folders(files []packed) []string {
	var out []string
	for _, f := range files {
		for dir := path.Dir(f.name); dir != "."; dir = path.Dir(dir) {
			out = append(out, dir)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// tarOf makes a tar archive in which everything belongs to root and has the same time. before is put in front of each name.
func tarOf(files []packed, before string, when time.Time) ([]byte, error) {
	var out bytes.Buffer
	w := tar.NewWriter(&out)
	put := func(h tar.Header, content []byte) error {
		h.ModTime, h.Uname, h.Gname, h.Format = when, "root", "root", tar.FormatGNU
		h.Size = int64(len(content))
		if err := w.WriteHeader(&h); err != nil {
			return err
		}
		_, err := w.Write(content)
		return err
	}
	for _, dir := range folders(files) {
		if err := put(tar.Header{Typeflag: tar.TypeDir, Name: before + dir + "/", Mode: 0o755}, nil); err != nil {
			return nil, err
		}
	}
	for _, f := range byName(files) {
		if err := put(tar.Header{Typeflag: tar.TypeReg, Name: before + f.name, Mode: f.mode()}, f.content); err != nil {
			return nil, err
		}
	}
	if err := w.Close(); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

// zipOf makes a zip archive in which everything has the same time.
func zipOf(files []packed, when time.Time) ([]byte, error) {
	var out bytes.Buffer
	w := zip.NewWriter(&out)
	for _, f := range byName(files) {
		h := &zip.FileHeader{Name: f.name, Method: zip.Deflate, Modified: when.UTC()}
		h.SetMode(0o644)
		if f.program {
			h.SetMode(0o755)
		}
		to, err := w.CreateHeader(h)
		if err == nil {
			_, err = to.Write(f.content)
		}
		if err != nil {
			return nil, err
		}
	}
	if err := w.Close(); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

// arOf makes an archive of the form that a Debian package has: see deb(5) and ar(5). Names have 15 bytes at most.
func arOf(files []packed, when time.Time) ([]byte, error) {
	var out bytes.Buffer
	out.WriteString("!<arch>\n")
	for _, f := range files {
		if len(f.name) > 15 || strings.ContainsAny(f.name, "/ ") {
			return nil, fmt.Errorf("%q can't be a name in an ar archive", f.name)
		}
		fmt.Fprintf(&out, "%-16s%-12d%-6d%-6d%-8s%-10d`\n", f.name, when.Unix(), 0, 0, "100644", len(f.content))
		out.Write(f.content)
		if len(f.content)%2 == 1 {
			out.WriteByte('\n')
		}
	}
	return out.Bytes(), nil
}

// gzipped packs without a name and a time.
func gzipped(content []byte) ([]byte, error) {
	var out bytes.Buffer
	w, err := gzip.NewWriterLevel(&out, gzip.BestCompression)
	if err != nil {
		return nil, err
	}
	_, err = w.Write(content)
	if err = errors.Join(err, w.Close()); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

// xz packs with one thread: with several the result depends on their number.
func (p *project) xz(ctx context.Context, content []byte) ([]byte, error) {
	c := p.command(ctx, []string{"XZ_OPT=", "XZ_DEFAULTS="}, "xz", "-6", "--threads=1", "--check=crc64", "--stdout")
	var out, said bytes.Buffer
	c.Stdin, c.Stdout, c.Stderr = bytes.NewReader(content), &out, &said
	if err := c.Run(); err != nil {
		return nil, fmt.Errorf("xz: %w %s", err, said.String())
	}
	return out.Bytes(), nil
}
