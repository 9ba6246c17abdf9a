package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"debug/buildinfo"
	"embed"
	"encoding/hex"
	"errors"
	"flag"
	"fmt"
	"image/png"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"time"
)

//go:embed package
var packageTexts embed.FS

// stamp is what a package says of where it comes from. Packages of the same stamp and tools are the same to the last bit.
type stamp struct {
	version string
	commit  string
	when    time.Time // of the commit: every file in a package has it
}

// product is a file that people get.
type product struct {
	name    string
	content []byte
}

// target is a system for which packages are made.
type target struct {
	name  string
	needs func() []need
	make  func(ctx context.Context, b *packer) ([]product, error)
	try   func(ctx context.Context, p *project, made []product) error
	tryBy func() []need
}

func targets() []target {
	return []target{
		{"linux", linuxPackageNeeds, linuxPackages, tryLinux, tryLinuxNeeds},
		{"windows", windowsPackageNeeds, windowsPackages, tryWindows, tryWindowsNeeds},
	}
}

// packageChore makes the packages of a system.
func packageChore(ctx context.Context, p *project, args []string) error {
	flags := flag.NewFlagSet("package", flag.ContinueOnError)
	flags.SetOutput(p.out)
	to := flags.String("to", "", "the folder for the packages, instead of the one in the cache")
	twice := flags.Bool("twice", false, "build once more from nothing, and compare")
	try := flags.Bool("try", false, "unpack or install what was made, and go through a visit to the practice car with it")
	var system string
	if len(args) > 0 && !strings.HasPrefix(args[0], "-") {
		system, args = args[0], args[1:]
	}
	if err := flags.Parse(args); err != nil {
		return &exit{code: exitUsage}
	}
	at := slices.IndexFunc(targets(), func(t target) bool { return t.name == system })
	if at < 0 || flags.NArg() > 0 {
		return &exit{exitUsage, "package takes linux or windows, and behind it --to FOLDER, --twice and --try"}
	}
	t := targets()[at]
	needs := t.needs()
	if *try {
		needs = append(needs, t.tryBy()...)
	}
	if err := p.install(ctx, needs); err != nil {
		return err
	}
	made, err := p.pack(ctx, t, nil)
	if err != nil {
		return err
	}
	dir := *to
	if dir == "" {
		dir = filepath.Join(p.cache, "packages")
	}
	if err := keep(dir, made); err != nil {
		return err
	}
	for _, m := range made {
		fmt.Fprintf(p.out, "%s  %s  %.1f MB\n", sumOf(m.content), filepath.Join(dir, m.name), float64(len(m.content))/1e6)
	}
	if *twice {
		if err := p.packAgain(ctx, t, made); err != nil {
			return err
		}
	}
	if *try {
		return t.try(ctx, p, made)
	}
	return nil
}

// pack builds the programs and puts them into packages.
func (p *project) pack(ctx context.Context, t target, extra []string) ([]product, error) {
	v, err := p.stamp(ctx)
	if err != nil {
		return nil, err
	}
	dir, err := os.MkdirTemp("", "readback-package-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	fmt.Fprintf(p.out, "Packing Readback %s, commit %s, for %s. The first time this takes some minutes.\n", v.version, v.commit, t.name)
	return t.make(ctx, &packer{project: p, stamp: v, dir: dir, extra: extra})
}

// packAgain builds everything once more with an empty build cache and wants the same bytes.
func (p *project) packAgain(ctx context.Context, t target, made []product) error {
	cache, err := os.MkdirTemp("", "readback-cache-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(cache)
	fmt.Fprintln(p.out, "Once more from nothing, to compare.")
	again, err := p.pack(ctx, t, []string{"GOCACHE=" + cache})
	if err != nil {
		return err
	}
	return p.compare(made, again)
}

// compare tells which products are the same, and fails where one is not.
func (p *project) compare(made, again []product) error {
	if len(made) != len(again) {
		return &exit{exitFailed, fmt.Sprintf("%d packages at first, %d then", len(made), len(again))}
	}
	for i := range made {
		if made[i].name != again[i].name || !bytes.Equal(made[i].content, again[i].content) {
			return &exit{exitFailed, fmt.Sprintf("%s is %s now", made[i].name, sumOf(again[i].content))}
		}
		fmt.Fprintf(p.out, "the same again: %s\n", made[i].name)
	}
	return nil
}

// sumsFile lists the SHA-256 of every package in its folder, as sha256sum reads it.
const sumsFile = "SHA256SUMS"

// keep writes the products into a folder, and brings its list up to date.
func keep(dir string, made []product) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	for _, m := range made {
		if err := os.WriteFile(filepath.Join(dir, m.name), m.content, 0o644); err != nil {
			return err
		}
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	var list strings.Builder
	for _, e := range entries {
		if e.IsDir() || e.Name() == sumsFile {
			continue
		}
		content, err := os.ReadFile(filepath.Join(dir, e.Name()))
		if err != nil {
			return err
		}
		fmt.Fprintf(&list, "%s  %s\n", sumOf(content), e.Name())
	}
	return os.WriteFile(filepath.Join(dir, sumsFile), []byte(list.String()), 0o644)
}

func sumOf(content []byte) string {
	sum := sha256.Sum256(content)
	return hex.EncodeToString(sum[:])
}

var versionLine = regexp.MustCompile(`(?m)^Version = "(.+)"$`)

// stamp reads the version from FyneApp.toml and the rest from git. SOURCE_DATE_EPOCH (reproducible-builds.org) counts more
// than the commit's time, and helps where there is no git.
func (p *project) stamp(ctx context.Context) (stamp, error) {
	toml, err := os.ReadFile(filepath.Join(p.root, "FyneApp.toml"))
	if err != nil {
		return stamp{}, err
	}
	m := versionLine.FindSubmatch(toml)
	if m == nil {
		return stamp{}, errors.New("FyneApp.toml has no version")
	}
	v := stamp{version: string(m[1]), commit: "unknown"}
	git := []string{"-c", "safe.directory=*"} // the checkout may belong to somebody else
	text, gitErr := p.output(ctx, nil, "git", append(git, "log", "-1", "--format=%H %ct")...)
	commit, seconds, _ := strings.Cut(strings.TrimSpace(text), " ")
	if gitErr == nil {
		v.commit = commit
		changes, err := p.output(ctx, nil, "git", append(git, "status", "--porcelain")...)
		if err != nil {
			return stamp{}, err
		}
		if changes != "" {
			v.commit += " with changes"
		}
	}
	if epoch := os.Getenv("SOURCE_DATE_EPOCH"); epoch != "" {
		seconds = epoch
	} else if gitErr != nil {
		return stamp{}, fmt.Errorf("the time of the last change is not known, and SOURCE_DATE_EPOCH does not tell it: %w", gitErr)
	}
	n, err := strconv.ParseInt(seconds, 10, 64)
	if err != nil {
		return stamp{}, fmt.Errorf("the time of the last change: %w", err)
	}
	v.when = time.Unix(n, 0)
	return v, nil
}

// packer makes the packages of one system.
type packer struct {
	*project
	stamp stamp
	dir   string   // for what is made on the way
	extra []string // environment for the builds
}

// program builds a program as it is given away: without paths of this computer, without what a debugger needs, and with
// Fyne told that it is a release whose threads are in order (FyneApp.toml says the same).
func (b *packer) program(ctx context.Context, name, file, ldflags string, env ...string) (built, error) {
	path := filepath.Join(b.dir, file)
	env = append(slices.Clone(b.extra), env...)
	c := b.command(ctx, env, "go", "build", "-trimpath", "-tags=release,migrated_fynedo", "-ldflags=-s -w -buildid= "+ldflags, "-o", path, "./cmd/"+name)
	if text, err := c.CombinedOutput(); err != nil {
		return built{}, fmt.Errorf("building %s: %w\n%s", name, err, lastLines(string(text), 40))
	}
	content, err := os.ReadFile(path)
	if err != nil {
		return built{}, err
	}
	info, err := buildinfo.Read(bytes.NewReader(content))
	if err != nil {
		return built{}, fmt.Errorf("what %s is built from: %w", file, err)
	}
	return built{file, content, info}, nil
}

// papers are the files that every package holds: the licences, and the list of what the programs are made of.
type papers struct {
	own    string // Readback's licence
	others []licence
	all    []byte // the licences of others with their texts
	bom    []byte
}

func (b *packer) papers(ctx context.Context, what string, programs []built, more ...licence) (papers, error) {
	own, err := os.ReadFile(filepath.Join(b.root, "LICENSE"))
	if err != nil {
		return papers{}, err
	}
	out := papers{own: string(own)}
	if out.others, err = b.licenceList(ctx); err != nil {
		return papers{}, err
	}
	out.others = append(out.others, more...)
	if out.all, err = licenceText(out.others); err != nil {
		return papers{}, err
	}
	kinds := map[string]string{}
	for _, l := range out.others {
		kinds[l.name] = l.kind
	}
	out.bom, err = sbom(what, programs, kinds, b.stamp)
	return out, err
}

// text is one of the texts in the folder package with the values of this version in it.
func (b *packer) text(name string, values ...string) (string, error) {
	content, err := packageTexts.ReadFile("package/" + name)
	if err != nil {
		return "", err
	}
	values = append(values, "@VERSION@", b.stamp.version, "@DATE@", b.stamp.when.UTC().Format(time.DateOnly))
	return strings.NewReplacer(values...).Replace(string(content)), nil
}

// readMe is the README.txt of an archive.
func (b *packer) readMe(system string) (string, error) {
	start, err := b.text("start-" + system + ".txt")
	if err != nil {
		return "", err
	}
	return b.text("README.txt", "@START@", strings.TrimSpace(start))
}

func linuxPackageNeeds() []need {
	if runtime.GOOS != "linux" {
		return []need{{what: "a Linux system to build on", met: func(context.Context, *project) bool { return false }, byHand: "run this on Linux"}}
	}
	return append(windowNeeds(), need{what: "xz", met: program("xz"), packages: each("xz-utils", "xz", "xz")})
}

// linuxPackages are an archive and a Debian package.
func linuxPackages(ctx context.Context, b *packer) ([]product, error) {
	window, err := b.program(ctx, "readback", "readback", "", "CGO_ENABLED=1")
	if err != nil {
		return nil, err
	}
	terminal, err := b.program(ctx, "readback-cli", "readback-cli", "", "CGO_ENABLED=0")
	if err != nil {
		return nil, err
	}
	programs := []built{window, terminal}
	name := fmt.Sprintf("readback-%s-linux-%s", b.stamp.version, runtime.GOARCH)
	pa, err := b.papers(ctx, name, programs)
	if err != nil {
		return nil, err
	}
	tree, err := b.linuxTree(programs)
	if err != nil {
		return nil, err
	}
	archive, err := b.linuxArchive(ctx, name, tree, pa)
	if err != nil {
		return nil, err
	}
	deb, err := b.debian(ctx, tree, pa, window.content, terminal.content)
	if err != nil {
		return nil, err
	}
	return []product{
		{name + ".tar.xz", archive},
		{fmt.Sprintf("readback_%s_%s.deb", b.stamp.version, runtime.GOARCH), deb},
		{name + ".cdx.json", pa.bom},
	}, nil
}

// linuxTree are the files that go into the folders of a Linux system, below /usr or another prefix.
func (b *packer) linuxTree(programs []built) ([]packed, error) {
	var files []packed
	for _, p := range programs {
		files = append(files, packed{"bin/" + p.name, true, p.content})
	}
	entry, err := b.text("readback.desktop")
	if err != nil {
		return nil, err
	}
	files = append(files, packed{name: "share/applications/readback.desktop", content: []byte(entry)})
	drawing, err := os.ReadFile(filepath.Join(b.root, "assets", "icon.svg"))
	if err != nil {
		return nil, err
	}
	files = append(files, packed{name: "share/icons/hicolor/scalable/apps/readback.svg", content: drawing})
	icon, err := os.ReadFile(filepath.Join(b.root, "assets", "icon.png"))
	if err != nil {
		return nil, err
	}
	picture, err := png.Decode(bytes.NewReader(icon))
	if err != nil {
		return nil, fmt.Errorf("the icon: %w", err)
	}
	files = append(files, packed{name: "share/icons/hicolor/256x256/apps/readback.png", content: icon})
	for _, n := range iconSizes() {
		content, err := pngOf(shrink(picture, n))
		if err != nil {
			return nil, err
		}
		files = append(files, packed{name: fmt.Sprintf("share/icons/hicolor/%dx%[1]d/apps/readback.png", n), content: content})
	}
	readme, err := os.ReadFile(filepath.Join(b.root, "README.md"))
	if err != nil {
		return nil, err
	}
	commands, err := manCommands(string(readme))
	if err != nil {
		return nil, err
	}
	for _, name := range []string{"readback.1", "readback-cli.1"} {
		page, err := b.text(name, "@COMMANDS@", commands)
		if err != nil {
			return nil, err
		}
		content, err := gzipped([]byte(page))
		if err != nil {
			return nil, err
		}
		files = append(files, packed{name: "share/man/man1/" + name + ".gz", content: content})
	}
	return files, nil
}

// linuxArchive can be unpacked anywhere.
func (b *packer) linuxArchive(ctx context.Context, name string, tree []packed, pa papers) ([]byte, error) {
	readMe, err := b.readMe("linux")
	if err != nil {
		return nil, err
	}
	install, err := b.text("install.sh")
	if err != nil {
		return nil, err
	}
	files := append(slices.Clone(tree), pa.files(readMe)...)
	files = append(files, packed{"install.sh", true, []byte(install)})
	for i := range files {
		files[i].name = name + "/" + files[i].name
	}
	archive, err := tarOf(files, "", b.stamp.when)
	if err != nil {
		return nil, err
	}
	return b.xz(ctx, archive)
}

// files are the papers as they lie at the top of an archive.
func (pa papers) files(readMe string) []packed {
	return []packed{
		{name: "README.txt", content: []byte(readMe)}, {name: "LICENSE.txt", content: []byte(pa.own)},
		{name: "licences.txt", content: pa.all}, {name: "readback.cdx.json", content: pa.bom},
	}
}

// debian makes the Debian package.
func (b *packer) debian(ctx context.Context, tree []packed, pa papers, programs ...[]byte) ([]byte, error) {
	var files []packed
	for _, f := range tree {
		f.name = "usr/" + f.name
		files = append(files, f)
	}
	const doc = "usr/share/doc/readback/"
	texts, err := gzipped(pa.all)
	if err != nil {
		return nil, err
	}
	changes, err := gzipped([]byte(debChangelog(b.stamp)))
	if err != nil {
		return nil, err
	}
	files = append(files,
		packed{name: doc + "copyright", content: []byte(debCopyright(pa.own, pa.others))},
		packed{name: doc + "licences.txt.gz", content: texts},
		packed{name: doc + "readback.cdx.json", content: pa.bom},
		packed{name: doc + "changelog.gz", content: changes},
		packed{name: "usr/share/lintian/overrides/readback", content: []byte(debOverrides)})
	depends, err := debDepends(programs...)
	if err != nil {
		return nil, err
	}
	control := debControl(b.stamp.version, runtime.GOARCH, depends, files)
	return debOf(files, control, b.stamp.when, func(content []byte) ([]byte, error) { return b.xz(ctx, content) })
}

func windowsPackageNeeds() []need {
	return []need{
		{what: "a C compiler for Windows programs", met: program(mingw), packages: each("gcc-mingw-w64-x86-64", "mingw64-gcc", "mingw-w64-gcc"), byHand: "install MinGW-w64 so that `" + mingw + " --version` answers"},
		{what: "a resource compiler for Windows programs", met: program(windres), packages: each("binutils-mingw-w64-x86-64", "mingw64-binutils", "mingw-w64-binutils"), byHand: "install MinGW-w64 so that `" + windres + " --version` answers"},
	}
}

// windowsPackages are one archive with both programs. The terminal program is linked by the C compiler too, because Go's
// own linker takes resources only from files in the checkout.
func windowsPackages(ctx context.Context, b *packer) ([]product, error) {
	content, err := os.ReadFile(filepath.Join(b.root, "assets", "icon.png"))
	if err != nil {
		return nil, err
	}
	icon, err := png.Decode(bytes.NewReader(content))
	if err != nil {
		return nil, fmt.Errorf("the icon: %w", err)
	}
	var programs []built
	for _, w := range []struct{ name, about, ldflags string }{
		{"readback", "Readback", "-H=windowsgui"},
		{"readback-cli", "Readback in a terminal", "-linkmode=external"},
	} {
		object, err := b.resources(ctx, b.dir, w.name, w.about, b.stamp.version, icon)
		if err != nil {
			return nil, err
		}
		p, err := b.program(ctx, w.name, w.name+".exe", w.ldflags+" '-extldflags="+object+"'", "GOOS=windows", "GOARCH=amd64", "CGO_ENABLED=1", "CC="+mingw)
		if err != nil {
			return nil, err
		}
		programs = append(programs, p)
	}
	name := fmt.Sprintf("readback-%s-windows-amd64", b.stamp.version)
	runtimeNotice, err := b.text("mingw.txt")
	if err != nil {
		return nil, err
	}
	pa, err := b.papers(ctx, name, programs, licence{"mingw-w64 runtime", "", "ZPL-2.1", strings.TrimSpace(runtimeNotice)})
	if err != nil {
		return nil, err
	}
	readMe, err := b.readMe("windows")
	if err != nil {
		return nil, err
	}
	files := pa.files(readMe)
	for i, f := range files {
		if strings.HasSuffix(f.name, ".txt") {
			files[i].content = bytes.ReplaceAll(f.content, []byte("\n"), []byte("\r\n"))
		}
	}
	for _, p := range programs {
		files = append(files, packed{p.name, true, p.content})
	}
	for i := range files {
		files[i].name = name + "/" + files[i].name
	}
	archive, err := zipOf(files, b.stamp.when)
	if err != nil {
		return nil, err
	}
	return []product{{name + ".zip", archive}, {name + ".cdx.json", pa.bom}}, nil
}
