package main

import (
	"os/exec"
	"strings"
	"testing"
)

// TestImportDirection keeps the architecture: dsp knows nothing of ours, analysis only dsp, report only analysis, and no library the command.
func TestImportDirection(t *testing.T) {
	const module = "github.com/leadline/leadline/"
	allowed := map[string][]string{
		"dsp":               {},
		"analysis/scatter":  {},
		"analysis":          {"dsp", "analysis/scatter"},
		"report":            {"analysis"},
		"fixtures":          {},
		"fixtures/recorder": {"dsp"},
		"cmd/leadline":      {"dsp", "analysis", "report", "fixtures"},
	}
	out, err := exec.Command("go", "list", "-f", `{{.ImportPath}} {{join .Imports " "}}`, module+"...").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	for _, line := range strings.Split(strings.TrimSpace(string(out)), "\n") {
		fields := strings.Fields(line)
		name := strings.TrimPrefix(fields[0], module)
		may, known := allowed[name]
		if !known {
			t.Errorf("package %s is not in the architecture: add it here and to DEVELOPERS.md, or move it", name)
			continue
		}
		for _, imported := range fields[1:] {
			ours, is := strings.CutPrefix(imported, module)
			if !is {
				continue
			}
			found := false
			for _, m := range may {
				found = found || m == ours
			}
			if !found {
				t.Errorf("%s imports %s: expected only %v", name, ours, may)
			}
		}
	}
}

// TestLibrariesNeitherPrintNorExit looks for what only the command may do.
func TestLibrariesNeitherPrintNorExit(t *testing.T) {
	out, err := exec.Command("grep", "-rnE", `os\.Exit|log\.Fatal|fmt\.Print(ln|f)?\(|os\.Std(out|err)`, "--include=*.go", "--exclude=*_test.go",
		"../../dsp", "../../analysis", "../../report").Output()
	if err == nil {
		t.Errorf("libraries must neither print nor exit:\n%s", out)
	}
}
