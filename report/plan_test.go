package report

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/leadline/leadline/analysis"
)

const planRoom = `title = "Workshop <b>&amp;</b> \"first\" panel"
[air]
temperature_c = 20
[panel]
sequence = "quadratic residue"
prime = 7
design_frequency_hz = 1000
well_width_m = 0.040
fin_thickness_m = 0.005
height_m = 0.60
cap_m = 0.010
back_m = 0.005
[room]
width_m = 4.2
length_m = 5.6
height_m = 2.5
[rig]
radius_m = 1
source_distance_m = 2
`

var planFiles = map[string]string{
	"room":     planRoom,
	"one":      planRoom + "largest_deg = 0\n",
	"absorber": planRoom + "floor_absorber_m = 0.3\nstep_deg = 10\n",
	"tilted":   planRoom + "source_above_floor_m = 0.6\nmicrophone_above_floor_m = 1.7\nsource_angle_deg = -40\nstep_deg = 2.5\nlargest_deg = 90\n",
	"hall":     strings.NewReplacer("width_m = 4.2", "width_m = 45", "length_m = 5.6", "length_m = 50", "height_m = 2.5", "height_m = 12").Replace(planRoom) + "step_deg = 20\n",
	"on floor": planRoom + "faces = \"length\"\nmiddle_above_floor_m = 0.3\nfront_from_behind_m = 0.16\nstep_deg = 20\n",
	"narrow":   strings.Replace(planRoom, "width_m = 4.2", "width_m = 1.9", 1) + "faces = \"length\"\nlargest_deg = 30\n",
	"no band":  strings.Replace(planRoom, "radius_m = 1\nsource_distance_m = 2\n", "faces = \"length\"\nmiddle_above_floor_m = 0.3\nradius_m = 2\nsource_distance_m = 4.9\nstep_deg = 20\nlargest_deg = 20\nfront_from_behind_m = 0.15\n", 1),
	"arcs":     strings.Replace(planRoom, "radius_m = 1\nsource_distance_m = 2\n", "radius_m = [1, 2]\nstep_deg = 20\n", 1),
}

func planOf(t *testing.T, text string) *analysis.Plan {
	t.Helper()
	g, err := analysis.ParseRig([]byte(text), "room.toml")
	if err != nil {
		t.Fatal(err)
	}
	p, err := analysis.PlanRig(g)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func sheetOf(t *testing.T, p *analysis.Plan) string {
	t.Helper()
	var b bytes.Buffer
	if err := PlanSheet(&b, p); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// TestPlanSheet checks what must hold for every sheet.
func TestPlanSheet(t *testing.T) {
	for name, text := range planFiles {
		t.Run(name, func(t *testing.T) {
			p := planOf(t, text)
			page := sheetOf(t, p)
			if page != sheetOf(t, p) {
				t.Error("the same plan gives two different sheets")
			}
			doc := parse(t, page)
			ids := map[string]bool{}
			doc.walk(func(e *element) {
				for k, v := range e.attr {
					if k == "style" || k == "src" || strings.HasPrefix(k, "on") || k == "href" && !strings.HasPrefix(v, "#") || e.name == "script" {
						t.Errorf("<%s %s=%q> must not be", e.name, k, v)
					}
				}
				if id := e.attr["id"]; id != "" {
					if ids[id] {
						t.Errorf("id %q stands twice", id)
					}
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
			for _, u := range regexp.MustCompile(`(?i)https?:[^"'\s>)]*`).FindAllString(page, -1) {
				if u != "http://www.w3.org/2000/svg" {
					t.Errorf("the sheet names %s", u)
				}
			}
			for _, bad := range []string{"NaN", "Inf", "ZgotmplZ", "%!"} {
				if strings.Contains(page, bad) {
					t.Errorf("the sheet holds %q", bad)
				}
			}
			if h := doc.all("h1"); len(h) != 1 || h[0].text != `Workshop <b>&amp;</b> "first" panel` {
				t.Errorf("h1 %v", h)
			}
			sum := sha256.Sum256([]byte(doc.all("style")[0].text))
			if want := "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"; !strings.Contains(doc.all("meta")[1].attr["content"], want) {
				t.Error("the policy does not let the style sheet in")
			}
			for _, svg := range doc.all("svg") {
				if svg.attr["role"] != "img" || svg.kids[0].name != "title" || svg.kids[1].name != "desc" || svg.kids[0].text == "" || svg.kids[1].text == "" {
					t.Errorf("a drawing lacks title, description or role: %v", svg.attr)
				}
			}
			for _, table := range doc.all("table") {
				if len(table.all("caption")) != 1 {
					t.Error("a table without caption")
				}
				columns := len(table.all("thead")[0].all("th"))
				for _, tr := range table.all("tbody")[0].all("tr") {
					if len(tr.kids) != columns {
						t.Errorf("%q: %d cells under %d heads", table.all("caption")[0].all("span")[0].text, len(tr.kids), columns)
					}
				}
			}
			// Every microphone's tape figures stand in its row, to the millimetre, with a box for each state.
			rows := map[string][]string{}
			for _, tr := range doc.all("table")[0].all("tbody")[0].all("tr") {
				var texts []string
				for _, k := range tr.kids[1:] {
					texts = append(texts, k.text)
				}
				rows[tr.kids[0].text] = texts
			}
			for _, m := range p.Microphones {
				row := rows[m.Name]
				if len(row) != 9 || row[1] != fmt.Sprintf("%.3f", m.FromAM) || row[2] != fmt.Sprintf("%.3f", m.FromBM) || row[3] != fmt.Sprintf("%.3f", m.FromSourceMarkM) {
					t.Errorf("%s: %q", m.Name, row)
				}
			}

			var text bytes.Buffer
			if err := PlanText(&text, p); err != nil {
				t.Fatal(err)
			}
			for _, line := range strings.Split(text.String(), "\n") {
				if utf8.RuneCountInString(line) > textWidth {
					t.Errorf("%d characters: %s", utf8.RuneCountInString(line), line)
				}
			}
			if strings.Contains(text.String(), "NaN") || strings.Contains(text.String(), "%!") {
				t.Error("the text holds NaN or a broken figure")
			}
		})
	}
}

// TestPlanScale: on paper a metre of the room is a metre divided by the scale, in both drawings.
func TestPlanScale(t *testing.T) {
	for name, text := range planFiles {
		p := planOf(t, text)
		page := sheetOf(t, p)
		n, err := strconv.ParseFloat(regexp.MustCompile(`1 : (\d+) on paper`).FindStringSubmatch(page)[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		box := regexp.MustCompile(`id="(plan-\w+)" class="drawing" viewBox="0 0 ([\d.]+) ([\d.]+)"`).FindAllStringSubmatch(page, -1)
		if len(box) != 2 {
			t.Fatalf("%s: %d drawings", name, len(box))
		}
		total := 0.0
		for i, b := range box {
			units, _ := strconv.ParseFloat(b[2], 64)
			widthMM, err := strconv.ParseFloat(regexp.MustCompile(`@media print\{#` + b[1] + `\{width:([\d.]+)mm`).FindStringSubmatch(page)[1], 64)
			if err != nil {
				t.Fatal(err)
			}
			total += widthMM
			svg := page[strings.Index(page, `id="`+b[1]+`"`):]
			svg = svg[:strings.Index(svg, "</svg>")]
			// from the panel's front to the middle of the source's mark, 10 units wide
			source := regexp.MustCompile(`class="source" d="M([-\d.]+) ([-\d.]+)h10`).FindStringSubmatch(svg)
			wood := regexp.MustCompile(`class="wood" x="([-\d.]+)" y="([-\d.]+)" width="([\d.]+)"`).FindStringSubmatch(svg)
			number := func(s string) float64 { v, _ := strconv.ParseFloat(s, 64); return v }
			var run float64
			if i == 0 {
				run = number(wood[2]) - (number(source[2]) - 5)
			} else {
				run = number(source[1]) + 5 - (number(wood[1]) + number(wood[3]))
			}
			// coordinates are written to a tenth of a unit, widths of the page to a hundredth of a millimetre
			got, want := run*widthMM/units, 1000*p.SourceM[1]/n
			if math.Abs(got-want) > 0.2/unitsPerMM+0.02 {
				t.Errorf("%s, %s: source %.3f mm from the panel, want %.3f", name, b[1], got, want)
			}
			if height, _ := strconv.ParseFloat(b[3], 64); widthMM > 182 || height/unitsPerMM > 130 {
				t.Errorf("%s, %s: %.0f × %.0f mm does not fit on a page", name, b[1], widthMM, height/unitsPerMM)
			}
		}
		if name == "room" && total+2 > 182 { // A4 between margins of 14 mm
			t.Errorf("%s: %.1f mm beside one another", name, total)
		}
	}
}

func TestPlanWithoutPlan(t *testing.T) {
	var b bytes.Buffer
	if err := PlanSheet(&b, nil); err == nil || b.Len() > 0 {
		t.Errorf("sheet of nothing: %v, %d bytes", err, b.Len())
	}
	if err := PlanText(&b, nil); err == nil || b.Len() > 0 {
		t.Errorf("text of nothing: %v, %d bytes", err, b.Len())
	}
}
