package main

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"slices"
	"testing"
)

// After a change of go.mod, `go run ./cmd/dev licences` is due.
func TestLicencesAreUpToDate(t *testing.T) {
	p, err := findProject(io.Discard)
	if err != nil {
		t.Fatal(err)
	}
	want, err := p.licences(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	got, err := os.ReadFile(filepath.Join(p.root, filepath.FromSlash(licenceFile)))
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != string(want) {
		t.Errorf("%s is not what the modules of go.mod say; run `go run ./cmd/dev licences`", licenceFile)
	}
}

// The sentences are those of the licences' own texts, as the SPDX list has them.
func TestLicenceKinds(t *testing.T) {
	const bsd = "Redistributions of source code must retain the above copyright notice.\nRedistributions in binary form must reproduce it.\n"
	for _, c := range []struct {
		text string
		want []string
	}{
		{"Permission is hereby granted, free of\n  charge, to any person obtaining a copy of this software and associated files, to deal in the Software without restriction. THE SOFTWARE IS PROVIDED \"AS IS\"", []string{"MIT"}},
		{bsd, []string{"BSD-2-Clause"}},
		{bsd + "Neither the name may be used to endorse or promote products", []string{"BSD-3-Clause"}},
		{"Apache License\n   Version 2.0, January 2004\n" + bsd, []string{"BSD-2-Clause", "Apache-2.0"}},
		{"All rights reserved.", nil},
	} {
		if got := licenceKinds(c.text); !slices.Equal(got, c.want) {
			t.Errorf("%.40q is %q, want %q", c.text, got, c.want)
		}
	}
}

// Only what is in a program counts, and what lies beside it without being a package of its own.
func TestModuleLicence(t *testing.T) {
	const mit = "Permission is hereby granted, free of charge, to any person obtaining a copy of this software, without restriction. THE SOFTWARE IS PROVIDED AS IS. "
	root := t.TempDir()
	for name, text := range map[string]string{
		"LICENSE":                 mit + "top\r\n",
		"a.go":                    "package a",
		"used/used.go":            "package used",
		"used/font/LICENSE_A.txt": mit + "font",
		"used/testdata/LICENSE":   mit + "test data",
		"other/other.go":          "package other",
		"other/COPYING":           mit + "another package",
	} {
		file := filepath.Join(root, filepath.FromSlash(name))
		if err := errors.Join(os.MkdirAll(filepath.Dir(file), 0o755), os.WriteFile(file, []byte(text), 0o644)); err != nil {
			t.Fatal(err)
		}
	}
	m := module{path: "example.org/a", version: "v1.0.0", dir: root, packages: []string{filepath.Join(root, "used")}}
	got, err := m.licence()
	want := licence{"example.org/a", "v1.0.0", "MIT", "(LICENSE)\n\n" + mit + "top\n\n(used/font/LICENSE_A.txt)\n\n" + mit + "font"}
	if err != nil || got != want {
		t.Errorf("got %q, %v\nwant %q", got, err, want)
	}
	if err := os.WriteFile(filepath.Join(root, "LICENSE"), []byte("All rights reserved."), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := m.licence(); err == nil {
		t.Error("a licence that nobody knows was taken")
	}
	if _, err := (&module{dir: t.TempDir()}).licence(); err == nil {
		t.Error("a module without any licence was taken")
	}
}
