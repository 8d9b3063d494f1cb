package report

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/leadline/leadline/analysis"
)

// mended is invented with well 5 brought to its design, better spread in the upper bands and one warning gone.
func mended() *analysis.Result {
	r := invented()
	r.Headline = "All wells but number 9 are as designed."
	w := &r.Wells[4]
	w.BuiltM, w.LowM, w.HighM, w.Verdict = analysis.Num(w.DesignM+0.0004), analysis.Num(w.DesignM-0.0008), analysis.Num(w.DesignM+0.0016), "ok"
	for k := range r.Fit.Explanations {
		r.Fit.Explanations[k].DepthM[4] = float64(w.BuiltM)
	}
	for i := range r.Bands {
		d := &r.Bands[i].Diffusion
		if i < 6 || !d.Panel.Known() {
			continue
		}
		d.Panel += 0.09
		d.PanelInterval = &analysis.Interval{Low: d.Panel - 0.02, High: d.Panel + 0.02}
	}
	r.Warnings = r.Warnings[:1]
	return r
}

func compared(t testing.TB, results ...*analysis.Result) *analysis.Comparison {
	t.Helper()
	var named []analysis.NamedResult
	for i, r := range results {
		named = append(named, analysis.NamedResult{File: []string{"march.json", "april.json", "may.json", "june.json", "july.json", "august.json"}[i], Result: r})
	}
	c, err := analysis.Compare(named)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func comparisons(t testing.TB) map[string]*analysis.Comparison {
	t.Helper()
	blind := func() *analysis.Result {
		r := invented()
		r.Wells, r.Fit = nil, nil
		for i := range r.Bands {
			r.Bands[i].Diffusion.PanelInterval, r.Bands[i].Diffusion.NormalisedInterval, r.Bands[i].Diffusion.FlatInterval = nil, nil, nil
		}
		return r
	}
	moved := mended()
	moved.SourceM[0] += 0.5
	nasty2 := compared(t, invented(), mended())
	nasty(reflect.ValueOf(nasty2).Elem(), func(v reflect.Value) {
		if v.Kind() == reflect.String {
			v.SetString(v.String() + evil)
		}
	})
	return map[string]*analysis.Comparison{"two": compared(t, invented(), mended()), "same": compared(t, invented(), invented()), "six": compared(t, invented(), invented(), mended(), mended(), invented(), mended()),
		"blind": compared(t, blind(), blind()), "moved": compared(t, invented(), moved), "hostile": nasty2, "empty": {}}
}

func renderComparison(t *testing.T, c *analysis.Comparison) string {
	t.Helper()
	var b bytes.Buffer
	if err := ComparisonHTML(&b, c); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// What holds for the report's page holds for a comparison's: well-formed, nothing from elsewhere, nothing that runs, drawings with words, headings in order, tables behind pictures.
func TestComparisonPage(t *testing.T) {
	for name, c := range comparisons(t) {
		t.Run(name, func(t *testing.T) {
			page := renderComparison(t, c)
			if page != renderComparison(t, c) {
				t.Error("the same comparison gives two different pages")
			}
			doc := parse(t, page)
			ids := map[string]bool{}
			doc.walk(func(e *element) {
				if e.name == "script" || e.name == "img" || e.name == "iframe" || e.name == "link" {
					t.Errorf("unexpected element <%s>", e.name)
				}
				for k, v := range e.attr {
					if k == "style" || k == "src" || strings.HasPrefix(k, "on") || k == "href" && !strings.HasPrefix(v, "#") {
						t.Errorf("<%s %s=%q> must not be", e.name, k, v)
					}
				}
				if id := e.attr["id"]; id != "" && ids[id] {
					t.Errorf("id %q stands twice", id)
				} else {
					ids[id] = true
				}
			})
			doc.walk(func(e *element) {
				for _, k := range []string{"aria-labelledby", "href"} {
					for _, id := range strings.Fields(strings.TrimPrefix(e.attr[k], "#")) {
						if !ids[id] {
							t.Errorf("<%s %s> points at %q, which is missing", e.name, k, id)
						}
					}
				}
			})
			if strings.Contains(page, "ZgotmplZ") || strings.Contains(page, "NaN") {
				t.Error("the page holds a rejected value or NaN")
			}
			for _, svg := range doc.all("svg") {
				if len(svg.kids) < 3 || svg.kids[0].name != "title" || svg.kids[1].name != "desc" || svg.kids[0].text == "" || svg.kids[1].text == "" || svg.attr["role"] != "img" {
					t.Errorf("a drawing lacks title, description or role: %v", svg.attr)
				}
			}
			level := 0
			doc.walk(func(e *element) {
				if regexp.MustCompile(`^h[1-6]$`).MatchString(e.name) {
					if n := int(e.name[1] - '0'); n > level+1 {
						t.Errorf("h%d follows h%d", n, level)
					} else {
						level = n
					}
				}
			})
			for _, table := range doc.all("table") {
				columns := len(table.all("thead")[0].all("th"))
				for _, tr := range table.all("tbody")[0].all("tr") {
					if len(tr.kids) != columns {
						t.Errorf("%d cells under %d heads", len(tr.kids), columns)
					}
				}
			}
			pictures := doc.classed("picture")
			for _, p := range pictures {
				if len(p.all("svg")) > 0 && len(p.all("table")) == 0 {
					t.Errorf("picture %q has no table", p.attr["aria-labelledby"])
				}
			}
			want := map[string]int{"two": 4, "same": 4, "six": 1 + 6 + 2, "blind": 2, "moved": 4, "hostile": 4, "empty": 0}[name]
			if got := len(doc.all("svg")); got != want {
				t.Errorf("%d drawings, want %d", got, want)
			}
		})
	}
	if ComparisonHTML(&bytes.Buffer{}, nil) == nil || ComparisonText(&bytes.Buffer{}, nil) == nil || ComparisonJSON(&bytes.Buffer{}, nil) == nil || ComparisonCSV(nil) != nil {
		t.Error("nothing was rendered without an error")
	}
}

func TestComparisonText(t *testing.T) {
	for name, c := range comparisons(t) {
		var b bytes.Buffer
		if err := ComparisonText(&b, c); err != nil {
			t.Fatal(err)
		}
		for i, line := range strings.Split(b.String(), "\n") {
			if n := utf8.RuneCountInString(line); n > textWidth {
				t.Errorf("%s: line %d has %d characters: %s", name, i+1, n, line)
			}
		}
		if strings.ContainsAny(b.String(), "\x00\x1b") || strings.Contains(b.String(), "NaN") {
			t.Errorf("%s: control characters or NaN", name)
		}
		if name != "two" {
			continue
		}
		path := filepath.Join("testdata", "comparison.txt")
		if *update {
			if err := os.WriteFile(path, b.Bytes(), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if b.String() != string(want) {
			t.Errorf("differs from %s (-update rewrites it):\n%s", path, b.String())
		}
	}
}

// A stranger's reading of the JSON finds schema, lists that can be looped over, and null for what isn't known.
func TestComparisonJSON(t *testing.T) {
	for name, c := range comparisons(t) {
		var b bytes.Buffer
		if err := ComparisonJSON(&b, c); err != nil {
			t.Fatal(err)
		}
		if name == "hostile" || name == "empty" {
			continue
		}
		var got struct {
			Schema, Outcome string
			Surveys         []map[string]any
			Whole           struct {
				Wells []struct {
					Number int
					Depth  map[string]any `json:"depth_m"`
				}
				Gained []any `json:"warnings_gained"`
			}
		}
		if err := json.Unmarshal(b.Bytes(), &got); err != nil {
			t.Fatal(err)
		}
		if got.Schema != "leadline/comparison/1" || len(got.Surveys) < 2 || got.Whole.Gained == nil || len(got.Whole.Wells) != 13 {
			t.Errorf("%s: schema %q, %d surveys, %d wells", name, got.Schema, len(got.Surveys), len(got.Whole.Wells))
		}
		if d := got.Whole.Wells[11].Depth; d["change"] != nil { // well 12 is unknown
			t.Errorf("%s: an unknown change is %v, want null", name, d["change"])
		}
	}
}

func TestComparisonCSV(t *testing.T) {
	for name, c := range comparisons(t) {
		tables := readCSV(t, ComparisonCSV(c))
		if name == "two" {
			if n := len(tables["depths"]); n != 1+2*13 {
				t.Errorf("%d rows of depths", n)
			}
			if n := len(tables["depth-changes"]); n != 1+13 {
				t.Errorf("%d rows of changes", n)
			}
			if len(tables) != 4 {
				t.Errorf("%d tables, want 4", len(tables))
			}
		}
	}
}
