package main

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
)

// licenceFile is what the programs and the packages show.
const licenceFile = "assets/licences.txt"

// licenceMark begins the line in front of each text; package assets reads it.
const licenceMark = "@@\t"

const licenceHead = `Readback is under the MIT licence, see LICENSE. Its programs hold work of others, under the licences below.
Each begins with a line of the mark @@, a name, a version and the licence's SPDX name.
`

// licence is the licence of one module or work.
type licence struct{ name, version, kind, text string }

// licencesChore writes the file anew.
func licencesChore(ctx context.Context, p *project, args []string) error {
	if len(args) > 0 {
		return &exit{exitUsage, fmt.Sprintf("licences knows no %q", args[0])}
	}
	text, err := p.licences(ctx)
	if err != nil {
		return err
	}
	file := filepath.Join(p.root, filepath.FromSlash(licenceFile))
	if err := os.WriteFile(file, text, 0o644); err != nil {
		return err
	}
	fmt.Fprintf(p.out, "Written: %s, %d licences\n", licenceFile, strings.Count(string(text), "\n"+licenceMark))
	return nil
}

// licences is the text of the file.
func (p *project) licences(ctx context.Context) ([]byte, error) {
	all, err := p.licenceList(ctx)
	if err != nil {
		return nil, err
	}
	return licenceText(all)
}

// licenceList holds every licence of what any of the programs holds on any system, by name.
func (p *project) licenceList(ctx context.Context) ([]licence, error) {
	modules, err := p.programModules(ctx)
	if err != nil {
		return nil, err
	}
	all := otherWorks()
	for _, m := range modules {
		l, err := m.licence()
		if err != nil {
			return nil, err
		}
		all = append(all, l)
		if m.path == goProjectModule {
			all = append(all, licence{"Go's library and runtime", "", l.kind, l.text})
		}
	}
	slices.SortFunc(all, func(a, b licence) int { return cmp.Compare(a.name, b.name) })
	return all, nil
}

// licenceText writes them one below the other.
func licenceText(all []licence) ([]byte, error) {
	var b strings.Builder
	b.WriteString(licenceHead)
	for _, l := range all {
		if strings.Contains("\n"+l.text, "\n"+licenceMark) {
			return nil, fmt.Errorf("the licence of %s has a line that begins with the mark of %s", l.name, licenceFile)
		}
		fmt.Fprintf(&b, "\n%s%s\t%s\t%s\n\n%s\n", licenceMark, l.name, l.version, l.kind, l.text)
	}
	return []byte(b.String()), nil
}

// goProjectModule comes from the Go project itself and has its licence, which not every copy of Go brings along.
const goProjectModule = "golang.org/x/sys"

// otherWorks are those whose licence is in no file of a module.
func otherWorks() []licence {
	return []licence{
		{"BIP-0039 English word list", "", "MIT", "The word list of the read-back words is the English list of BIP-0039, which is published under the MIT licence.\n" +
			"One word of it is another one here."},
		{"EmojiOne Color font", "1.000", "CC-BY-4.0", "Emoji art supplied by EmojiOne, http://emojione.com.\n" +
			"EmojiOne's graphics are free to use for any project, commercial or personal, under a free culture Creative Commons\n" +
			"License (CC-BY 4.0). Copyright 2016 Adobe Systems Incorporated. https://creativecommons.org/licenses/by/4.0/\n" +
			"(The font is part of fyne.io/fyne/v2; these are its own words about itself.)"},
	}
}

// module is one that programs are built from.
type module struct {
	path, version, dir string
	packages           []string // folders of those packages that are in a program
}

// shippedSystems are what the programs are built for.
func shippedSystems() []string { return []string{"linux/amd64", "windows/amd64", "darwin/arm64"} }

// programModules are the modules of both programs on all systems.
func (p *project) programModules(ctx context.Context) ([]*module, error) {
	byPath := map[string]*module{}
	for _, system := range shippedSystems() {
		goos, goarch, _ := strings.Cut(system, "/")
		text, err := p.output(ctx, []string{"GOOS=" + goos, "GOARCH=" + goarch, "CGO_ENABLED=1"}, "go", "list", "-deps", "-json=Dir,Module", "./cmd/readback", "./cmd/readback-cli")
		if err != nil {
			return nil, err
		}
		for d := json.NewDecoder(strings.NewReader(text)); ; {
			var l struct {
				Dir    string
				Module *struct {
					Path, Version, Dir string
					Main               bool
				}
			}
			if err := d.Decode(&l); err == io.EOF {
				break
			} else if err != nil {
				return nil, fmt.Errorf("the list of packages for %s: %w", system, err)
			}
			if l.Module == nil || l.Module.Main {
				continue
			}
			m := byPath[l.Module.Path]
			if m == nil {
				m = &module{path: l.Module.Path, version: l.Module.Version, dir: l.Module.Dir}
				byPath[m.path] = m
			}
			m.packages = append(m.packages, l.Dir)
		}
	}
	out := make([]*module, 0, len(byPath))
	for _, m := range byPath {
		out = append(out, m)
	}
	slices.SortFunc(out, func(a, b *module) int { return cmp.Compare(a.path, b.path) })
	return out, nil
}

var licenceName = regexp.MustCompile(`(?i)^(licen[sc]e|copying|notice|patents|ofl)([-_.].*)?$`)

// licenceOfNothingShipped are files whose subject is in none of the programs, with the reason.
var licenceOfNothingShipped = map[string]string{
	"modernc.org/memory LICENSE-LOGO":            "a picture for the module's own page",
	"modernc.org/sqlite LICENSE-SQLITE_VEC":      "for a package that nothing here imports",
	"modernc.org/sqlite LICENSE-3RD-PARTY.md":    "repeats the licences of other modules, which stand here by themselves, and of tools for its tests",
	"codeberg.org/go-pdf/fpdf LICENSE.color.org": "permits everything and asks for nothing",
}

// licence reads the module's licence files: at its top, and in every folder that holds or stands below a package which is
// in a program, but not in packages that are in none.
func (m *module) licence() (licence, error) {
	var files []string
	err := filepath.WalkDir(m.dir, func(file string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && (d.Name() == "testdata" || !m.shipped(file)):
			return filepath.SkipDir
		case !d.IsDir() && licenceName.MatchString(d.Name()):
			if _, not := licenceOfNothingShipped[m.path+" "+d.Name()]; !not {
				files = append(files, file)
			}
		}
		return nil
	})
	if err != nil {
		return licence{}, fmt.Errorf("licences of %s: %w", m.path, err)
	}
	if len(files) == 0 {
		return licence{}, fmt.Errorf("%s has no licence file", m.path)
	}
	var kinds, texts []string
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			return licence{}, err
		}
		name, err := filepath.Rel(m.dir, file)
		if err != nil {
			return licence{}, err
		}
		clean := cleanText(string(text))
		found := licenceKinds(clean)
		if len(found) == 0 && !strings.EqualFold(filepath.Base(name), "patents") {
			return licence{}, fmt.Errorf("%s of %s is a licence that is not known here", name, m.path)
		}
		kinds = append(kinds, found...)
		if len(files) > 1 {
			clean = "(" + filepath.ToSlash(name) + ")\n\n" + clean
		}
		texts = append(texts, clean)
	}
	slices.Sort(kinds)
	return licence{m.path, m.version, strings.Join(slices.Compact(kinds), " AND "), strings.Join(texts, "\n\n")}, nil
}

// shipped reports whether a folder of the module may hold something that is in a program.
func (m *module) shipped(dir string) bool {
	inside := func(outer, inner string) bool {
		return inner == outer || strings.HasPrefix(inner, outer+string(filepath.Separator))
	}
	below := false
	for _, pkg := range m.packages {
		if inside(dir, pkg) {
			return true
		}
		below = below || inside(pkg, dir)
	}
	sources, err := filepath.Glob(filepath.Join(dir, "*.go"))
	return dir == m.dir || below && err == nil && len(sources) == 0
}

// cleanText has no carriage returns, no spaces at the ends of lines and no empty lines around it.
func cleanText(text string) string {
	var b strings.Builder
	for line := range strings.Lines(strings.TrimPrefix(text, "\uFEFF")) {
		b.WriteString(strings.TrimRight(line, " \t\r\n") + "\n")
	}
	return strings.Trim(b.String(), "\n")
}

// licencePhrases tell a licence by words that only its text has; all of them must be there. Text and phrases are
// compared in small letters and with single spaces. The names are those of the SPDX list.
var licencePhrases = []struct {
	kind    string
	phrases []string
	not     string
}{
	{"MIT", []string{"permission is hereby granted, free of charge, to any person obtaining a copy of this software", "without restriction", "the software is provided"}, ""},
	{"BSD-3-Clause", []string{"redistributions of source code must retain", "redistributions in binary form must", "be used to endorse or promote products"}, ""},
	{"BSD-2-Clause", []string{"redistributions of source code must retain", "redistributions in binary form must"}, "be used to endorse or promote products"},
	{"Apache-2.0", []string{"apache license", "version 2.0, january 2004"}, ""},
	{"Zlib", []string{"the origin of this software must not be misrepresented", "altered source versions must be plainly marked"}, ""},
	{"OFL-1.1", []string{"sil open font license", "version 1.1"}, ""},
	{"Bitstream-Vera", []string{"bitstream vera", "permission is hereby granted, free of charge, to any person obtaining a copy of the fonts"}, ""},
	{"blessing", []string{"dedicated to the public domain", "sqlite is public domain"}, ""}, // the list's name for it
	{"ISC", []string{"permission to use, copy, modify, and/or distribute this software for any purpose with or without fee is hereby granted"}, ""},
}

// licenceKinds names the licences that a text is made of.
func licenceKinds(text string) []string {
	text = strings.Join(strings.Fields(strings.ToLower(text)), " ")
	has := func(phrase string) bool { return strings.Contains(text, phrase) }
	var out []string
	for _, l := range licencePhrases {
		if !slices.ContainsFunc(l.phrases, func(p string) bool { return !has(p) }) && (l.not == "" || !has(l.not)) {
			out = append(out, l.kind)
		}
	}
	return out
}
