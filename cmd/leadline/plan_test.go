package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/leadline/leadline/analysis"
)

func TestPlanExample(t *testing.T) {
	dir := t.TempDir()
	sheet, survey := filepath.Join(dir, "plan.html"), filepath.Join(dir, "survey.toml")
	o := leadline("plan", "--example", "--sheet", sheet, "--survey", survey)
	if o.code != exitAsDesigned || o.stderr != "" || !strings.Contains(o.stdout, "The longest clean gate is 3.2 ms, so third octaves from 630 Hz up can count; the floor and the") {
		t.Errorf("%+v", o)
	}
	if b, err := os.ReadFile(sheet); err != nil || !strings.HasPrefix(string(b), "<!DOCTYPE html>") {
		t.Errorf("sheet: %v", err)
	}
	s, err := analysis.LoadSurvey(survey)
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Positions) != 33 || s.Title != "Workshop, first panel" {
		t.Errorf("%d positions, title %q", len(s.Positions), s.Title)
	}

	// A survey that may hold the user's notes is never replaced; then nothing else is written either.
	if err := os.Remove(sheet); err != nil {
		t.Fatal(err)
	}
	o = leadline("plan", "--example", "--sheet", sheet, "--survey", survey)
	if o.code != exitUsage || o.stdout != "" || !strings.Contains(o.stderr, "survey.toml exists already and may hold your notes: give --survey another name, or remove it first") {
		t.Errorf("%+v", o)
	}
	if _, err := os.Stat(sheet); err == nil {
		t.Error("the sheet was written all the same")
	}
}

func TestPlanOnStandardOutput(t *testing.T) {
	o := leadline("plan", "--example", "--survey", "-")
	if o.code != exitAsDesigned {
		t.Fatalf("%+v", o)
	}
	if _, err := analysis.ParseSurvey([]byte(o.stdout), "survey.toml"); err != nil {
		t.Error(err)
	}
	if o = leadline("plan", "--example", "--sheet", "-"); o.code != exitAsDesigned || !strings.HasPrefix(o.stdout, "<!DOCTYPE html>") || !strings.HasSuffix(o.stdout, "</html>\n") {
		t.Errorf("code %d, %.40q", o.code, o.stdout)
	}
}

func TestPlanWrongUse(t *testing.T) {
	dir := t.TempDir()
	bad := filepath.Join(dir, "room.toml")
	if err := os.WriteFile(bad, []byte("[panel]\nprime = 4\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"plan"}, "plan: 0 arguments: expected one plan file, or --example alone"},
		{[]string{"plan", "a", "b"}, "plan: 2 arguments"},
		{[]string{"plan", "--example", "a"}, "plan: 1 arguments"},
		{[]string{"plan", filepath.Join(dir, "none.toml")}, "none.toml: found no such file or directory, expected a plan file; check the path"},
		{[]string{"plan", bad}, "room.toml:2:1: panel.prime: found 4, expected an odd prime number"},
		{[]string{"plan", "--example", "--sheet", "x", "--survey", "x"}, "plan: --sheet and --survey both name x: give each its own file"},
		{[]string{"plan", "--example", "--sheet", filepath.Join(dir, "no", "folder.html")}, "nothing was written"},
	} {
		if o := leadline(c.args...); o.code != exitUsage || o.stdout != "" || !strings.Contains(o.stderr, c.want) {
			t.Errorf("%q: %+v, want %q", c.args, o, c.want)
		}
	}
}
