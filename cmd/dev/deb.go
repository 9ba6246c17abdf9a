package main

import (
	"bytes"
	"crypto/md5"
	"debug/elf"
	"fmt"
	"path"
	"slices"
	"strconv"
	"strings"
	"time"
)

// debMaintainer has no mail address that anybody could write to; .invalid is kept free for that (RFC 2606).
const debMaintainer = "The Readback authors <authors@readback.invalid>"

const debAbout = `Description: reads a car's trouble codes and sends one request safely
 Readback checks the cable, gets an adapter talking, and says in plain words
 what every stored trouble code of a car means. It explains a request byte by
 byte, lets it pass only behind a safety gate, sends it once, and reads the car
 again. A practice car is built in.
`

// debPackages are the Debian packages of the libraries that the window is linked with (packages.debian.org).
var debPackages = map[string]string{
	"libX11.so.6": "libx11-6", "libXcursor.so.1": "libxcursor1", "libXi.so.6": "libxi6", "libXinerama.so.1": "libxinerama1",
	"libXrandr.so.2": "libxrandr2", "libXxf86vm.so.1": "libxxf86vm1", "libXext.so.6": "libxext6", "libGL.so.1": "libgl1",
}

// debRecommends are the packages of libraries that GLFW looks for when it runs, and can do without.
const debRecommends = "libxcursor1, libxi6, libxinerama1, libxrandr2, libxxf86vm1"

// debOverrides says to lintian what is as it is on purpose: the terminal program runs without any library.
const debOverrides = "readback: statically-linked-binary [usr/bin/readback-cli]\n"

// debLibc are parts of the C library's own package.
var debLibc = []string{"libc.so.6", "libm.so.6", "libdl.so.2", "libpthread.so.0", "librt.so.1", "libresolv.so.2"}

// debDepends is what a package that holds these programs needs: the libraries that they are linked with, and the C library
// at least as new as the newest function that they take from it.
func debDepends(programs ...[]byte) (string, error) {
	var out []string
	newest := [2]int{}
	libc := false
	for _, content := range programs {
		f, err := elf.NewFile(bytes.NewReader(content))
		if err != nil {
			return "", err
		}
		libraries, err := f.ImportedLibraries()
		if err != nil {
			return "", err
		}
		for _, l := range libraries {
			switch {
			case slices.Contains(debLibc, l):
				libc = true
			case debPackages[l] != "":
				out = append(out, debPackages[l])
			default:
				return "", fmt.Errorf("it is not known here which Debian package has %s", l)
			}
		}
		if len(libraries) == 0 {
			continue // a static program
		}
		symbols, err := f.ImportedSymbols()
		if err != nil {
			return "", err
		}
		for _, s := range symbols {
			if v, ok := glibcVersion(s.Version); ok && slices.Compare(v[:], newest[:]) > 0 {
				newest = v
			}
		}
	}
	if libc {
		out = append(out, fmt.Sprintf("libc6 (>= %d.%d)", newest[0], newest[1]))
	}
	slices.Sort(out)
	return strings.Join(slices.Compact(out), ", "), nil
}

// glibcVersion reads a symbol's version such as GLIBC_2.34 or GLIBC_2.2.5.
func glibcVersion(text string) (v [2]int, ok bool) {
	text, ok = strings.CutPrefix(text, "GLIBC_")
	if !ok {
		return v, false
	}
	parts := strings.Split(text, ".")
	if len(parts) < 2 {
		return v, false
	}
	for i := range v {
		n, err := strconv.Atoi(parts[i])
		if err != nil {
			return v, false
		}
		v[i] = n
	}
	return v, true
}

// debControl is the control file: Debian Policy, section 5.3.
func debControl(version, architecture, depends string, files []packed) string {
	size := 0
	for _, f := range files {
		size += (len(f.content) + 1023) / 1024
	}
	size += len(folders(files))
	return fmt.Sprintf("Package: readback\nVersion: %s\nArchitecture: %s\nMaintainer: %s\nInstalled-Size: %d\nDepends: %s\nRecommends: %s\nSection: electronics\nPriority: optional\n%s",
		version, architecture, debMaintainer, size, depends, debRecommends, debAbout)
}

// debSums is the file md5sums, against which dpkg --verify compares.
func debSums(files []packed) string {
	var b strings.Builder
	for _, f := range byName(files) {
		fmt.Fprintf(&b, "%x  %s\n", md5.Sum(f.content), f.name)
	}
	return b.String()
}

// debChangelog is what Debian Policy, section 4.4, wants to know of a version.
func debChangelog(v stamp) string {
	return fmt.Sprintf("readback (%s) unstable; urgency=medium\n\n  * Built from commit %s.\n\n -- %s  %s\n", v.version, v.commit, debMaintainer, v.when.UTC().Format(time.RFC1123Z))
}

// debCopyright says what is under which licence. The texts are long and stand in a file beside it.
func debCopyright(own string, others []licence) string {
	var b strings.Builder
	fmt.Fprintf(&b, "Readback\n\n%s\n\nThe programs hold work of others, under these licences (names as on the SPDX list); their texts are in licences.txt.gz\n"+
		"in this folder. The Apache License, version 2.0, is also in /usr/share/common-licenses/Apache-2.0.\n\n", strings.TrimSpace(own))
	for _, l := range others {
		fmt.Fprintf(&b, "%s: %s\n", strings.TrimSpace(l.name+" "+l.version), l.kind)
	}
	return b.String()
}

// debOf makes the package: deb(5). files have their places in the system; data and control are packed by pack.
func debOf(files []packed, control string, when time.Time, pack func([]byte) ([]byte, error)) ([]byte, error) {
	parts := []packed{{name: "debian-binary", content: []byte("2.0\n")}}
	for _, part := range []struct {
		name  string
		files []packed
	}{
		{"control.tar.xz", []packed{{name: "control", content: []byte(control)}, {name: "md5sums", content: []byte(debSums(files))}}},
		{"data.tar.xz", files},
	} {
		archive, err := tarOf(part.files, "./", when)
		if err != nil {
			return nil, err
		}
		content, err := pack(archive)
		if err != nil {
			return nil, fmt.Errorf("packing %s: %w", path.Base(part.name), err)
		}
		parts = append(parts, packed{name: part.name, content: content})
	}
	return arOf(parts, when)
}
