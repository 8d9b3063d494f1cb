package report

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"testing"

	"github.com/leadline/leadline/analysis"
)

// pictureTables says which CSV files hold the numbers of which picture.
var pictureTables = map[string][]string{"setup": {"places"}, "section": {"wells"}, "levels": {"levels"}, "agreement": {"bands"}, "diffusion": {"bands"}, "comb": {"combs", "notches"},
	"time": {"time"}, "takes": {"alignment"}, "recordings": {"recordings"}, "farfield": {"far-field"},
	"seat-1": {"seat-bands", "seat-distances", "seat-maps", "seat-curves", "seat-tuning"}, "seat-2": {"seat-bands", "seat-distances", "seat-maps", "seat-curves", "seat-tuning"},
	"row": {"row-bands", "row-boxes", "row-wells", "row-orders"}, "rowpolar": {"row-polar", "row-lobes"}}

func readCSV(t *testing.T, files []CSVFile) map[string][][]string {
	t.Helper()
	out := map[string][][]string{}
	for _, f := range files {
		if !bytes.HasSuffix(f.Data, []byte("\r\n")) || bytes.Count(f.Data, []byte("\n")) != bytes.Count(f.Data, []byte("\r\n")) {
			t.Errorf("%s: lines must end in CR LF (RFC 4180, section 2)", f.Name)
		}
		rows, err := csv.NewReader(bytes.NewReader(f.Data)).ReadAll() // refuses rows of other lengths
		if err != nil {
			t.Fatalf("%s: %v", f.Name, err)
		}
		out[strings.TrimSuffix(f.Name, ".csv")] = rows
	}
	return out
}

// Every picture of a full report has its tables, and no table is without a picture.
func TestCSVOfEveryPicture(t *testing.T) {
	m := &maker{r: invented(), sh: &sheet{}}
	figures, err := m.figures()
	if err != nil {
		t.Fatal(err)
	}
	tables := readCSV(t, CSV(m.r))
	used := map[string]bool{}
	for _, f := range figures {
		names, known := pictureTables[f.ID]
		if !known {
			t.Errorf("picture %q has no CSV file: add its numbers to csv.go and name it here", f.ID)
		}
		for _, n := range names {
			used[n] = true
			if len(tables[n]) < 2 {
				t.Errorf("picture %q: %s.csv is missing or empty", f.ID, n)
			}
		}
	}
	var heads strings.Builder
	for _, f := range CSV(m.r) {
		name := strings.TrimSuffix(f.Name, ".csv")
		if !used[name] {
			t.Errorf("%s belongs to no picture", f.Name)
		}
		fmt.Fprintf(&heads, "%s: %s\n", f.Name, strings.Join(tables[name][0], " "))
	}
	path := filepath.Join("testdata", "csv-headers.txt")
	if *update {
		if err := os.WriteFile(path, []byte(heads.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if heads.String() != string(want) {
		t.Errorf("headers differ from %s (-update rewrites it):\n%s", path, heads.String())
	}
}

// Numbers are those of the result to the last bit, unknown ones are empty.
func TestCSVNumbers(t *testing.T) {
	r := invented()
	tables := readCSV(t, CSV(r))
	same := func(what, cell string, want analysis.Num) {
		t.Helper()
		if !want.Known() {
			if cell != "" {
				t.Errorf("%s: %q, want an empty field for what isn't known", what, cell)
			}
			return
		}
		if got, err := strconv.ParseFloat(cell, 64); err != nil || got != float64(want) {
			t.Errorf("%s: %q, want %v", what, cell, want)
		}
	}
	cell := func(table string, row int, column string) string {
		for i, h := range tables[table][0] {
			if h == column {
				return tables[table][row+1][i]
			}
		}
		t.Fatalf("%s has no column %s", table, column)
		return ""
	}
	for i, w := range r.Wells {
		same(fmt.Sprint("well ", i+1), cell("wells", i, "built_m"), w.BuiltM)
		same(fmt.Sprint("well ", i+1), cell("wells", i, "built_low_m"), w.LowM)
	}
	for i, b := range r.Bands {
		same(fmt.Sprint("band ", i), cell("bands", i, "diffusion_panel"), b.Diffusion.Panel)
		if b.Diffusion.PanelInterval != nil {
			same(fmt.Sprint("band ", i), cell("bands", i, "diffusion_panel_high"), b.Diffusion.PanelInterval.High)
		}
	}
	for i, p := range r.Positions {
		row := 4*len(r.Positions) + i // of the fifth band
		same(p.Name, cell("levels", row, "panel_db"), p.PanelDB[4])
		same(p.Name, cell("levels", row, "predicted_panel_db"), p.PredictedDB[4])
	}
	if n := len(tables["time"]) - 1; n != len(r.TimeView.TimeS) {
		t.Errorf("%d rows in time.csv for %d samples", n, len(r.TimeView.TimeS))
	}
}

// What a spreadsheet would run as a formula is quoted, numbers and plain names are not; whatever is known or not, the tables hold together.
func TestCSVHostile(t *testing.T) {
	for in, want := range map[string]string{"=1+1": "'=1+1", "@SUM(A1)": "'@SUM(A1)", "+cmd|' /C calc'!A0": "'+cmd|' /C calc'!A0", "-x": "'-x", "+30": "+30", "-5": "-5", "arc-80": "arc-80", "": "", "a\r\nb": "a� b"} {
		if got := csvText(in); got != want {
			t.Errorf("%q became %q, want %q", in, got, want)
		}
	}
	for name, r := range samples() {
		t.Run(name, func(t *testing.T) {
			first := CSV(r)
			readCSV(t, first)
			if !reflect.DeepEqual(first, CSV(r)) {
				t.Error("the same result gives two different tables")
			}
		})
	}
	if CSV(nil) != nil {
		t.Error("tables of nothing")
	}
}
