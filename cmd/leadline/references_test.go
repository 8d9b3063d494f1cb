package main

import (
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestReferencesExist reads the table of outside references in DEVELOPERS.md and looks for every test it names.
func TestReferencesExist(t *testing.T) {
	const root = "../.."
	text, err := os.ReadFile(filepath.Join(root, "DEVELOPERS.md"))
	if err != nil {
		t.Fatal(err)
	}
	_, section, found := strings.Cut(string(text), "## Outside references\n")
	if !found {
		t.Fatal("DEVELOPERS.md has no section of outside references")
	}
	section, _, _ = strings.Cut(section, "\n## ")
	tests := map[string]bool{}
	declared := regexp.MustCompile(`(?m)^func (Test\w+)\(`)
	err = filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, "_test.go") {
			return err
		}
		source, err := os.ReadFile(path)
		for _, m := range declared.FindAllStringSubmatch(string(source), -1) {
			tests[m[1]] = true
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	rows := 0
	for _, line := range strings.Split(section, "\n") {
		if !strings.HasPrefix(line, "| ") || strings.HasPrefix(line, "| what") || strings.HasPrefix(line, "| ---") {
			continue
		}
		rows++
		cells := strings.Split(strings.Trim(line, "| "), " | ")
		names := regexp.MustCompile("`(Test[^`]+)`").FindAllStringSubmatch(cells[len(cells)-1], -1)
		if len(names) == 0 && !strings.Contains(line, "nothing to test") {
			t.Errorf("no test is named for %s", cells[0])
		}
		for _, n := range names {
			if !tests[n[1]] {
				t.Errorf("%s: there is no test %s", cells[0], n[1])
			}
		}
	}
	if rows < 20 {
		t.Errorf("%d rows", rows)
	}
}
