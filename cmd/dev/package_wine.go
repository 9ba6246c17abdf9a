package main

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"
)

func tryWindowsNeeds() []need {
	return append(displayNeeds(),
		need{what: "wine", met: program("wine"), packages: each("wine", "wine", "wine")},
		need{what: "wine for programs of 64 bits", met: anyFile("/usr/lib/wine/wine64", "/usr/bin/wine64", "/usr/lib*/wine/x86_64-windows/*", "/usr/lib/*/wine/x86_64-windows/*"), packages: each("wine64", "wine", "wine")})
}

// tryWindows unpacks the archive and goes through a visit with it under Wine.
func tryWindows(ctx context.Context, p *project, made []product) (err error) {
	t, end, err := p.startTrial("package-windows")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, end()) }()
	folder := ""
	for _, m := range made {
		if strings.HasSuffix(m.name, ".zip") {
			folder = filepath.Join(t.dir, strings.TrimSuffix(m.name, ".zip"))
			err = unzip(m.content, t.dir)
		}
	}
	if err != nil {
		return err
	}
	env, err := t.wine(ctx)
	if err != nil {
		return fmt.Errorf("making Wine ready: %w", err)
	}
	end2 := func() error { return t.command(context.WithoutCancel(ctx), env, "wineserver", "-k").Run() }
	defer func() { _ = end2() }() // it fails where nothing runs any more
	return t.visit(ctx, seat{
		name: "wine-", env: env, folder: wineName, end: end2, patience: 2 * time.Minute,
		window:   []string{"wine", filepath.Join(folder, "readback.exe")},
		terminal: []string{"sh", "-c", wineInto, filepath.Join(t.dir, "said"), "timeout", "-k", "5", limitSeconds(tryLimit), "wine", filepath.Join(folder, "readback-cli.exe")},
	})
}

// wineInto lets a program under Wine print into the file that is named first. Wine's services hold its output open for
// longer than it runs, so a pipe would have no end.
const wineInto = `"$@" >"$0" 2>>"$0.errors"; code=$?; cat "$0"; exit $code`

// wineName is how a program under Wine calls a file of this computer.
func wineName(file string) string { return "Z:" + strings.ReplaceAll(file, "/", `\`) }

// wine makes an empty Windows for this trial, and adds the one library function that it may lack. It returns the settings
// under which wine finds it.
func (t trial) wine(ctx context.Context) ([]string, error) {
	prefix := filepath.Join(t.dir, "wine")
	env := []string{"WINEPREFIX=" + prefix, "WINEARCH=win64", "WINEDEBUG=-all", "WINEDLLOVERRIDES=mscoree,mshtml=;winemenubuilder.exe=d;bcryptprimitives=n,b"}
	for _, words := range [][]string{{"wineboot", "--init"}, {"wineserver", "--wait"}} {
		c := t.command(ctx, append(env, "DISPLAY="), "timeout", append([]string{"-k", "5", limitSeconds(tryLimit)}, words...)...)
		c.Stdout, c.Stderr = t.log, t.log // a file: Wine's services hold it open, which nobody waits for
		if err := c.Run(); err != nil {
			return nil, fmt.Errorf("%s: %w", words[0], err)
		}
	}
	source, err := packageTexts.ReadFile("package/prng.c")
	if err != nil {
		return nil, err
	}
	c := t.command(ctx, nil, mingw, "-shared", "-x", "c", "-", "-o", filepath.Join(prefix, "drive_c", "windows", "system32", "bcryptprimitives.dll"), "-ladvapi32")
	c.Stdin = bytes.NewReader(source)
	if text, err := c.CombinedOutput(); err != nil {
		return nil, fmt.Errorf("%w\n%s", err, lastLines(string(text), 10))
	}
	return env, nil
}

// unzip unpacks an archive of our own.
func unzip(content []byte, dir string) error {
	r, err := zip.NewReader(bytes.NewReader(content), int64(len(content)))
	if err != nil {
		return err
	}
	for _, f := range r.File {
		file := filepath.Join(dir, filepath.FromSlash(f.Name))
		if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
			return err
		}
		from, err := f.Open()
		if err != nil {
			return err
		}
		text, err := io.ReadAll(from)
		if err = errors.Join(err, from.Close()); err != nil {
			return err
		}
		if err := os.WriteFile(file, text, f.Mode()); err != nil {
			return err
		}
	}
	return nil
}
