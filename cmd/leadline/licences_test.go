package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// licenceMarks are sentences that only one licence has; the first that is found counts. In a file, blanks and line breaks are taken as one.
var licenceMarks = []struct{ name, mark string }{
	{"Apache-2.0", "Apache License Version 2.0, January 2004"},
	{"MPL-2.0", "Mozilla Public License Version 2.0"},
	{"OFL-1.1", "SIL OPEN FONT LICENSE Version 1.1"},
	{"FTL or GPL-2.0-or-later", "Use of the Freetype-Go software is subject to your choice of exactly one of the following two licenses"},
	{"CC-BY-4.0", "Creative Commons Attribution 4.0 International Public License"},
	{"MIT", "Permission is hereby granted, free of charge, to any person obtaining a copy"},
	{"ISC", "Permission to use, copy, modify, and distribute this software for any purpose with or without fee is hereby granted"},
	{"ISC", "Permission to use, copy, modify, and/or distribute this software for any purpose with or without fee is hereby granted"},
	{"BSD-3-Clause", "Neither the name of"},
	{"BSD-3-Clause", "The names of its contributors may not be used to endorse"},
	{"BSD-2-Clause", "Redistributions in binary form must reproduce the above copyright notice"},
	{"Unlicense", "This is free and unencumbered software released into the public domain"},
}

// licencesOf names the licences in a module's folder, by its files LICENSE, LICENCE, COPYING and their like.
func licencesOf(dir string) ([]string, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	var names []string
	for _, e := range entries {
		upper := strings.ToUpper(e.Name())
		if e.IsDir() || !strings.HasPrefix(upper, "LICENSE") && !strings.HasPrefix(upper, "LICENCE") && !strings.HasPrefix(upper, "COPYING") && !strings.HasPrefix(upper, "UNLICENSE") {
			continue
		}
		text, err := os.ReadFile(filepath.Join(dir, e.Name()))
		if err != nil {
			return nil, err
		}
		plain := strings.Join(strings.Fields(string(text)), " ")
		for _, l := range licenceMarks {
			if strings.Contains(plain, l.mark) {
				if !slices.Contains(names, l.name) {
					names = append(names, l.name)
				}
				break
			}
		}
	}
	return names, nil
}

// TestLicences holds testdata/licences.txt to go.mod and to the licence files of the modules; -update rewrites it.
func TestLicences(t *testing.T) {
	var stderr bytes.Buffer
	download := exec.Command("go", "mod", "download", "-json")
	download.Stderr = &stderr
	out, err := download.Output()
	if err != nil {
		t.Fatalf("go mod download: %v: %s", err, stderr.String())
	}
	inProgram := map[string]bool{}
	for _, system := range []string{"linux", "darwin", "windows"} {
		list := exec.Command("go", "list", "-deps", "-f", "{{with .Module}}{{.Path}}{{end}}", ".")
		list.Env = append(os.Environ(), "GOOS="+system)
		linked, err := list.Output()
		if err != nil {
			t.Fatal(err)
		}
		for _, path := range strings.Fields(string(linked)) {
			inProgram[path] = true
		}
	}
	var b strings.Builder
	b.WriteString("# Every module in go.mod, its licence as its own files have it, and whether the program holds it or the tests alone.\n# go test ./cmd/leadline -run Licences -update rewrites this.\n")
	for modules := json.NewDecoder(bytes.NewReader(out)); ; {
		var m struct{ Path, Version, Dir string }
		if err := modules.Decode(&m); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		names, err := licencesOf(m.Dir)
		if err != nil {
			t.Fatal(err)
		}
		if len(names) == 0 {
			t.Errorf("%s: no licence that is known here: read its files, and add a mark to licenceMarks or leave the module", m.Path)
		}
		use := "tests"
		if inProgram[m.Path] {
			use = "program"
		}
		fmt.Fprintf(&b, "%s %s: %s; %s\n", m.Path, m.Version, strings.Join(names, " and "), use)
	}
	path := filepath.Join("..", "..", "testdata", "licences.txt")
	if *update {
		write(t, path, b.String())
		return
	}
	if got := b.String(); got != read(t, path) {
		t.Errorf("%s differs (go test ./cmd/leadline -run Licences -update rewrites it):\n%s", path, got)
	}
}
