package report

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"encoding/xml"
	"flag"
	"fmt"
	"io"
	"math"
	"math/rand"
	"os"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/leadline/leadline/analysis"
)

var update = flag.Bool("update", false, "write the golden files anew")

// predicted is invented as a prediction: all that was measured is taken out.
func predicted() *analysis.Result {
	r := invented()
	r.Kind, r.TimeView, r.Warnings = "predict", nil, nil
	r.Headline = "The design spreads sound well from 630 Hz up."
	r.Reasons, r.ToDo, r.HowSure = nil, []string{"Build the panel, measure it with and without, and run a check."}, nil
	r.Verdict = analysis.Undecided // as a prediction leaves it
	r.Fit, r.Patterns, r.Drift, r.Recordings, r.LoudspeakerDivided, r.Responses = nil, nil, nil, nil, false, nil
	for i := range r.Bands {
		d := &r.Bands[i].Diffusion
		nan := analysis.Unknown()
		d.Panel, d.Flat, d.Normalised, d.PanelInterval, d.FlatInterval, d.NormalisedInterval = nan, nan, nan, nil, nil, nil
		r.Bands[i].CorrelationScattering, r.Bands[i].LevelDifferenceRMSDB, r.Bands[i].ResidualDB = nan, nan, nan
	}
	for i := range r.Positions {
		p := &r.Positions[i]
		p.PanelDB, p.FlatDB, p.PanelIntervalDB, p.PanelResidualDB, p.FlatResidualDB, p.Alignment = nil, nil, nil, nil, nil, nil
		p.Comb.Panel, p.Comb.Flat = analysis.CombTrace{}, analysis.CombTrace{}
	}
	for i := range r.Wells {
		nan := analysis.Unknown()
		r.Wells[i] = analysis.Well{Number: i + 1, DesignM: r.Wells[i].DesignM, BuiltM: nan, LowM: nan, HighM: nan, DifferenceM: nan, Loss: nan, LossLow: nan, LossHigh: nan, GainInDiffusion: nan,
			Verdict: "undecided", Why: "nothing was measured"}
	}
	return r
}

// hostile puts markup, quotes and control characters into every string.
func hostile() *analysis.Result {
	r := invented()
	nasty(reflect.ValueOf(r).Elem(), func(v reflect.Value) {
		if v.Kind() == reflect.String {
			v.SetString(v.String() + evil)
		}
	})
	return r
}

const evil = "\"'><script>alert(1)</script></title></style></svg><img src=x onerror=alert(1)>&amp;{{.}}\x1b[31m\u202e\x00\xff"

// nasty applies change to every leaf of v.
func nasty(v reflect.Value, change func(reflect.Value)) {
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			nasty(v.Field(i), change)
		}
	case reflect.Pointer:
		if !v.IsNil() {
			nasty(v.Elem(), change)
		}
	case reflect.Slice, reflect.Array:
		for i := range v.Len() {
			nasty(v.Index(i), change)
		}
	default:
		change(v)
	}
}

func samples() map[string]*analysis.Result {
	empty := &analysis.Result{}
	unknown := invented()
	nasty(reflect.ValueOf(unknown).Elem(), func(v reflect.Value) {
		if v.Kind() == reflect.Float64 {
			v.SetFloat(math.NaN())
		}
	})
	bare := invented() // as a run without flat board, repeats or prediction leaves it
	bare.FarField, bare.TimeView, bare.Wells, bare.Room, bare.Fit, bare.Recordings, bare.Drift, bare.Responses = nil, nil, nil, nil, nil, nil, nil, nil
	for i := range bare.Positions {
		p := &bare.Positions[i]
		p.FlatDB, p.PredictedDB, p.PredictedFlatDB, p.PanelIntervalDB, p.Comb = nil, nil, nil, nil, analysis.Comb{}
	}
	return map[string]*analysis.Result{"full": invented(), "predicted": predicted(), "hostile": hostile(), "empty": empty, "unknown": unknown, "bare": bare}
}

func render(t *testing.T, r *analysis.Result) string {
	t.Helper()
	var b bytes.Buffer
	if err := HTML(&b, r); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// element is one start tag with the text directly in it.
type element struct {
	name string
	attr map[string]string
	text string
	kids []*element
}

// scripts are the page's script elements; their text is no XML.
var scripts = regexp.MustCompile(`(?s)(<script[^>]*>)(.*?)(</script>)`)

// parse reads a page as XML, which HTML as we write it also is but for the scripts, whose text is taken out; so it is well-formed.
func parse(t *testing.T, page string) *element {
	t.Helper()
	page = scripts.ReplaceAllString(page, "$1$3")
	dec := xml.NewDecoder(strings.NewReader(page))
	root := &element{}
	stack := []*element{root}
	for {
		tok, err := dec.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		top := stack[len(stack)-1]
		switch tok := tok.(type) {
		case xml.StartElement:
			e := &element{name: tok.Name.Local, attr: map[string]string{}}
			for _, a := range tok.Attr {
				if _, twice := e.attr[a.Name.Local]; twice {
					t.Errorf("<%s> has %s twice", e.name, a.Name.Local)
				}
				e.attr[a.Name.Local] = a.Value
			}
			top.kids = append(top.kids, e)
			stack = append(stack, e)
		case xml.EndElement:
			stack = stack[:len(stack)-1]
		case xml.CharData:
			top.text += string(tok)
		}
	}
	return root
}

func (e *element) walk(visit func(*element)) {
	visit(e)
	for _, k := range e.kids {
		k.walk(visit)
	}
}

func (e *element) all(name string) (out []*element) {
	e.walk(func(k *element) {
		if k.name == name {
			out = append(out, k)
		}
	})
	return out
}

// TestPage checks what must hold for every page, whatever is known or not.
func TestPage(t *testing.T) {
	for name, r := range samples() {
		t.Run(name, func(t *testing.T) {
			page := render(t, r)
			if again := render(t, r); again != page {
				t.Error("the same result gives two different pages")
			}
			doc := parse(t, page)

			// Nothing from elsewhere, and nothing that runs but our own script.
			found := scripts.FindAllStringSubmatch(page, -1)
			if len(found) == 2 {
				if found[0][1] != `<script type="application/json" id="data">` || !json.Valid([]byte(found[0][2])) || strings.ContainsAny(found[0][2], "<>&") {
					t.Error("the first script is not JSON that can't end its element")
				}
				if found[1][1] != "<script>" || found[1][2] != liveScript {
					t.Error("the second script is not the page's own")
				}
			} else if strings.Count(page, "<script") != 2 {
				t.Errorf("%d scripts", len(found))
			}
			allowed := map[string]bool{"html": true, "head": true, "meta": true, "title": true, "style": true, "body": true, "a": true, "header": true, "p": true, "h1": true, "nav": true, "ul": true,
				"li": true, "main": true, "section": true, "h2": true, "h3": true, "div": true, "dl": true, "dt": true, "dd": true, "span": true, "ol": true, "b": true, "code": true, "details": true, "summary": true,
				"figure": true, "figcaption": true, "svg": true, "desc": true, "g": true, "path": true, "rect": true, "circle": true, "text": true, "clipPath": true, "cite": true, "table": true, "caption": true,
				"thead": true, "tbody": true, "tr": true, "th": true, "td": true, "footer": true, "script": true, "select": true, "option": true, "label": true, "input": true, "fieldset": true, "legend": true,
				"button": true, "": true}
			ids := map[string]bool{}
			doc.walk(func(e *element) {
				if !allowed[e.name] {
					t.Errorf("unexpected element <%s>", e.name)
				}
				for k, v := range e.attr {
					if k == "style" || k == "src" || strings.HasPrefix(k, "on") || k == "href" && !strings.HasPrefix(v, "#") {
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
			for _, u := range regexp.MustCompile(`(?i)https?:[^"'\s>)]*`).FindAllString(page, -1) { // the SVG namespace is a name, not an address
				if u != "http://www.w3.org/2000/svg" {
					t.Errorf("the page names %s", u)
				}
			}
			if text := scripts.ReplaceAllString(page, ""); strings.Contains(page, "ZgotmplZ") || strings.Contains(text, "NaN") || strings.Contains(text, "Inf ") {
				t.Error("the page holds a rejected value, NaN or Inf")
			}

			// The policy lets in the style sheet and the script and nothing else.
			css := doc.all("style")[0].text
			sum := sha256.Sum256([]byte(css))
			script := sha256.Sum256([]byte(liveScript))
			want := "default-src 'none'; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'; script-src 'sha256-" + base64.StdEncoding.EncodeToString(script[:]) +
				"'; base-uri 'none'; form-action 'none'"
			if got := doc.all("meta")[1].attr["content"]; got != want {
				t.Errorf("policy %q, want %q", got, want)
			}

			// Every reference inside the page leads somewhere.
			doc.walk(func(e *element) {
				for _, k := range []string{"aria-labelledby", "href"} {
					for _, id := range strings.Fields(strings.TrimPrefix(e.attr[k], "#")) {
						if !ids[id] {
							t.Errorf("<%s %s> points at %q, which is missing", e.name, k, id)
						}
					}
				}
			})

			for _, svg := range doc.all("svg") {
				if len(svg.kids) < 3 || svg.kids[0].name != "title" || svg.kids[1].name != "desc" || svg.kids[0].text == "" || svg.kids[1].text == "" || svg.attr["role"] != "img" ||
					svg.attr["aria-labelledby"] != svg.kids[0].attr["id"]+" "+svg.kids[1].attr["id"] {
					t.Errorf("a drawing lacks title, description or role: %v", svg.attr)
				}
			}

			// One h1, and no level left out on the way down (WCAG 2.2, technique H42 and G141).
			level, ones := 0, 0
			doc.walk(func(e *element) {
				if len(e.name) == 2 && e.name[0] == 'h' && e.name[1] >= '1' && e.name[1] <= '6' {
					n := int(e.name[1] - '0')
					if n > level+1 {
						t.Errorf("h%d follows h%d", n, level)
					}
					if n == 1 {
						ones++
					}
					level = n
				}
			})
			if ones != 1 {
				t.Errorf("%d h1", ones)
			}

			for _, table := range doc.all("table") {
				if len(table.all("caption")) != 1 || strings.TrimSpace(table.all("caption")[0].all("span")[0].text) == "" {
					t.Error("a table without caption")
				}
				columns := len(table.all("thead")[0].all("th"))
				for _, th := range table.all("th") {
					if s := th.attr["scope"]; s != "col" && s != "row" {
						t.Errorf("a table head with scope %q", s)
					}
				}
				for _, tr := range table.all("tbody")[0].all("tr") {
					if len(tr.kids) != columns {
						t.Errorf("%q: %d cells under %d heads", table.attr, len(tr.kids), columns)
					}
				}
			}
		})
	}
}

// TestOrder: what was checked, verdict, what to do, how sure, where to sit, pictures, numbers, method, cautions, glossary.
func TestOrder(t *testing.T) {
	var got []string
	for _, h := range parse(t, render(t, invented())).all("h2") {
		got = append(got, h.text)
	}
	want := []string{"What was checked", "Verdict", "What to do next", "How sure", "Where to sit", "Pictures", "Numbers", "Method", "Cautions", "Glossary"}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}

// TestPictures: a full result has every picture with its numbers; an empty one has sentences.
func TestPictures(t *testing.T) {
	full := parse(t, render(t, invented()))
	// 2 of the set-up, 3 of the panel, 8 usable bands, 1 measured against predicted, 2 of the diffusion coefficient, 3 + 2 of the comb, 2 in time, 2 of the takes,
	// 2 of the recordings, 6 far away, 7 of one seat, 2 of the row and 2 of what it sends far away
	if n := len(full.all("svg")); n != 2+3+8+1+2+5+2+2+2+6+7+4+2 { // the last two gate anew
		t.Errorf("%d drawings", n)
	}
	if n := len(full.all("details")); n != 14 { // one for each picture
		t.Errorf("%d folded tables", n)
	}
	empty := parse(t, render(t, &analysis.Result{}))
	if n := len(empty.all("svg")); n != 0 {
		t.Errorf("an empty result has %d drawings", n)
	}
	missing := 0
	for _, p := range empty.all("p") {
		if p.attr["class"] == "missing" && strings.HasSuffix(strings.TrimSpace(p.text), ".") {
			missing++
		}
	}
	if missing != 7 {
		t.Errorf("%d sentences stand for 7 pictures", missing)
	}
}

// inside lists the drawings of a picture.
func (e *element) inside(id string) []*element {
	var out []*element
	for _, svg := range e.all("svg") {
		if strings.HasPrefix(svg.attr["aria-labelledby"], id+"-") {
			out = append(out, svg)
		}
	}
	return out
}

func (e *element) classed(class string) (out []*element) {
	e.walk(func(k *element) {
		if k.attr["class"] == class {
			out = append(out, k)
		}
	})
	return out
}

var anyNumber = regexp.MustCompile(`-?[\d.]+`)

func numbers(t *testing.T, s string) (out []float64) {
	t.Helper()
	for _, n := range anyNumber.FindAllString(s, -1) {
		v, err := strconv.ParseFloat(n, 64)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, v)
	}
	return out
}

// TestPatterns: what wrong wells have in common stands once, between the headline and the reasons.
func TestPatterns(t *testing.T) {
	r := invented()
	var b bytes.Buffer
	if err := Text(&b, r); err != nil {
		t.Fatal(err)
	}
	for name, s := range map[string]string{"page": render(t, r), "text": b.String()} {
		p, why := strings.Index(s, r.Patterns[0]), strings.Index(s, "Why")
		if strings.Count(s, r.Patterns[0]) != 1 || p < strings.Index(s, "differs from the design") || p > why {
			t.Errorf("%s: pattern at %d, %d times; the reasons begin at %d", name, p, strings.Count(s, r.Patterns[0]), why)
		}
	}
}

// TestSeveralExplanations: where two sets of depths fit alike, the page has both in a table and draws the second where it parts from the first, to scale.
func TestSeveralExplanations(t *testing.T) {
	r := invented()
	page := parse(t, render(t, r))
	var open *element
	for _, table := range page.all("table") {
		if strings.HasPrefix(table.all("span")[0].text, "Depths that explain") {
			open = table
		}
	}
	if open == nil {
		t.Fatal("no table of both")
	}
	if row := open.all("tbody")[0].all("tr")[2]; row.kids[2].text != "52.3" || row.kids[3].text != "95.0" {
		t.Errorf("well 3 has %q and %q", row.kids[2].text, row.kids[3].text)
	}
	cut := page.inside("section")[0]
	lines := cut.classed("otherline")
	if len(lines) != 1 {
		t.Fatalf("%d wells have a second outline, want well 3 alone", len(lines))
	}
	n := numbers(t, lines[0].attr["d"]) // x y V H V
	scale := numbers(t, cut.classed("wood")[0].attr["width"])[0] / r.Panel.WidthM
	if depth := (n[2] - n[1]) / scale; math.Abs(depth-0.095) > 0.0003 { // two coordinates written to a tenth: 0.3 mm
		t.Errorf("drawn %.4f m deep, want 0.095", depth)
	}
	r.Fit.Explanations = r.Fit.Explanations[:1]
	if s := render(t, r); strings.Contains(s, "otherline\"") || strings.Contains(s, "Depths that explain") {
		t.Error("one explanation is drawn as several")
	}
}

// TestTolerance: the deviation chart has the tolerance band, wide enough an axis for it, and its name in the key.
func TestTolerance(t *testing.T) {
	r := invented()
	r.ToleranceM = 0.012
	c := (&maker{r: r, sh: &sheet{}}).deviation()
	if c.back.across != (span{-12, 12}) || c.y.low > -12 || c.y.high < 12 {
		t.Errorf("band %v in %v", c.back.across, c.y)
	}
	if !strings.Contains(render(t, r), "tolerance, ± 12"+nbsp+"mm") {
		t.Error("the band has no name")
	}
}

// TestEndingEcho: the echo that ended the gate is drawn from the source over the floor to the panel's middle, incident and reflected at one angle, in the side view alone.
func TestEndingEcho(t *testing.T) {
	r := invented()
	views := parse(t, render(t, r)).inside("setup")
	if n := len(views[0].classed("echo")); n != 0 {
		t.Errorf("%d echoes from above", n)
	}
	n := numbers(t, views[1].classed("echo")[0].attr["d"])
	source, floor, panel := n[0:2], n[2:4], n[4:6]
	in, out := (floor[1]-source[1])/(source[0]-floor[0]), (floor[1]-panel[1])/(floor[0]-panel[0])
	if math.Abs(in-out) > 0.005 { // coordinates are written to a tenth of 50 to 80 units
		t.Errorf("in at a slope of %.4f, out at %.4f", in, out)
	}
	metre := (source[0] - panel[0]) / r.SourceM[1]
	if drop := (floor[1] - source[1]) / metre; math.Abs(drop-0.9) > 0.005 {
		t.Errorf("the floor is met %.3f m below, want 0.9", drop)
	}
	for _, by := range []string{"decay", "recording", "survey", "echo in the empty room", ""} {
		for i := range r.Positions {
			r.Positions[i].Gate.EndedBy = by
		}
		if strings.Contains(render(t, r), "class=\"echo\"") {
			t.Errorf("an echo is drawn although the gate was ended by %q", by)
		}
	}
}

// TestHiddenDistortion: a level that noise hides in most recordings is not told from the few in which it isn't.
func TestHiddenDistortion(t *testing.T) {
	r := invented()
	for i := range r.Recordings.Files {
		if d := &r.Recordings.Files[i].Sweeps[0].Distortion[0]; i%3 > 0 {
			d.LevelDB[4] = analysis.Unknown()
		}
	}
	m := &maker{r: r}
	if _, mid, worst := lowMidHigh(m.distortion(2, 4)); finite(mid) || !finite(worst) {
		t.Errorf("middle %v, worst %v", mid, worst)
	}
	if _, mid, _ := lowMidHigh(m.distortion(2, 5)); !finite(mid) {
		t.Error("a level known in all recordings has no middle")
	}
}

// TestHostileText: what a user named a thing shows as text, apart from characters that steer a display.
func TestHostileText(t *testing.T) {
	page := render(t, hostile())
	h1 := parse(t, page).all("h1")[0].text
	if want := "Rear wall, first panel\"'><script>alert(1)</script></title></style></svg><img src=x onerror=alert(1)>&amp;{{.}}�[31m���"; h1 != want {
		t.Errorf("got %q, want %q", h1, want)
	}
	page = strings.Replace(strings.Replace(page, `<script type="application/json" id="data">`, "", 1), "<script>"+liveScript, "", 1)
	for _, bad := range []string{"<script", "<img", "\x1b", "\u202e", "\x00"} {
		if strings.Contains(page, bad) {
			t.Errorf("the page holds %q", bad)
		}
	}
	var b bytes.Buffer
	if err := Text(&b, hostile()); err != nil {
		t.Fatal(err)
	}
	for i, r := range b.String() {
		if r < ' ' && r != '\n' || r == '\u202e' || r >= 0x7f && r < 0xa0 {
			t.Errorf("control character %U at byte %d of the text", r, i)
		}
	}
}

// TestSize: small enough to send by mail: 1.5 MB for 33 positions, here with three takes, 99 recordings and a seat.
func TestSize(t *testing.T) {
	if n := len(render(t, invented())); n > 1_500_000 {
		t.Errorf("%d bytes", n)
	}
	fine := invented() // twelve bands per octave, all of them usable
	var bands []analysis.Band
	for k := range 48 {
		b := fine.Bands[4]
		b.CentreHz = 250 * math.Pow(2, float64(k)/12)
		b.LowHz, b.HighHz = b.CentreHz*math.Pow(2, -1./24), b.CentreHz*math.Pow(2, 1./24)
		bands = append(bands, b)
	}
	fine.Bands = bands
	for i := range fine.Positions {
		p := &fine.Positions[i]
		for _, s := range []*[]analysis.Num{&p.PanelDB, &p.FlatDB, &p.PredictedDB, &p.PredictedFlatDB, &p.PanelResidualDB, &p.Comb.Panel.PeakToNotchDB, &p.Comb.Flat.PeakToNotchDB,
			&p.Comb.PredictedPanel.PeakToNotchDB, &p.Comb.PredictedFlat.PeakToNotchDB} {
			if len(*s) > 0 {
				*s = slices.Repeat(*s, 4)
			}
		}
		p.PanelIntervalDB = slices.Repeat(p.PanelIntervalDB, 4)
	}
	if n := len(render(t, fine)); n > 1_500_000 {
		t.Errorf("%d bytes with 48 bands", n)
	}
}

// TestAnything: no result, however odd, breaks a page or a text. The seeds are fixed, so a failure comes back.
func TestAnything(t *testing.T) {
	odd := []float64{math.NaN(), math.Inf(1), math.Inf(-1), 0, -1, 1e-300, 1e300, -1e300, 1e9, 5e-324}
	for seed := range 40 {
		rng := rand.New(rand.NewSource(int64(seed)))
		r := invented()
		nasty(reflect.ValueOf(r).Elem(), func(v reflect.Value) {
			if rng.Intn(4) > seed%4 {
				return
			}
			switch v.Kind() {
			case reflect.Float64:
				v.SetFloat(odd[rng.Intn(len(odd))])
			case reflect.Int:
				v.SetInt([]int64{0, -1, 1, math.MaxInt64, math.MinInt64}[rng.Intn(5)])
			case reflect.String:
				v.SetString([]string{"", evil, strings.Repeat("x", 500)}[rng.Intn(3)])
			case reflect.Bool:
				v.SetBool(rng.Intn(2) == 0)
			}
		})
		// Lists of unequal length.
		for i := range r.Positions {
			p := &r.Positions[i]
			p.PanelDB, p.FlatDB = p.PanelDB[:rng.Intn(len(p.PanelDB))], p.FlatDB[:rng.Intn(len(p.FlatDB))]
		}
		r.TimeView.Panel = r.TimeView.Panel[:rng.Intn(700)]
		r.FarField.AngleDeg = r.FarField.AngleDeg[:rng.Intn(70)]
		r.Panel.DesignDepthM = r.Panel.DesignDepthM[:rng.Intn(13)]
		r.Fit.Explanations[1].DepthM = r.Fit.Explanations[1].DepthM[:rng.Intn(13)]
		r.Recordings.Files[rng.Intn(99)].Sweeps[0].SNRDB = nil
		parse(t, render(t, r))
		var b bytes.Buffer
		if err := Text(&b, r); err != nil {
			t.Error(err)
		}
		checkText(t, b.String())
	}
}

func checkText(t *testing.T, s string) {
	t.Helper()
	lines := strings.Split(strings.TrimSuffix(s, "\n"), "\n")
	if len(lines) > 60 {
		t.Errorf("%d lines of text", len(lines))
	}
	for _, l := range lines {
		if utf8.RuneCountInString(l) > 100 {
			t.Errorf("a line of %d characters: %s", utf8.RuneCountInString(l), l)
		}
	}
}

func TestTextGolden(t *testing.T) {
	long := invented()
	nasty(reflect.ValueOf(long).Elem(), func(v reflect.Value) {
		if v.Kind() == reflect.String {
			v.SetString(v.String() + strings.Repeat(" and so on", 60))
		}
	})
	var cut bytes.Buffer
	if err := Text(&cut, long); err != nil {
		t.Fatal(err)
	}
	checkText(t, cut.String())
	for name, r := range map[string]*analysis.Result{"full": invented(), "predicted": predicted(), "empty": {}} {
		var b bytes.Buffer
		if err := Text(&b, r); err != nil {
			t.Fatal(err)
		}
		checkText(t, b.String())
		path := "testdata/" + name + ".txt"
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
			t.Errorf("%s differs (run with -update to accept):\n%s", path, b.String())
		}
	}
}

func TestJSON(t *testing.T) {
	r := invented()
	r.Title = "a <b> & c"
	r.Positions[3].FlatDB = nil
	var b bytes.Buffer
	if err := JSON(&b, r); err != nil {
		t.Fatal(err)
	}
	s := b.String()
	if r.Positions[3].FlatDB != nil {
		t.Error("JSON changed the result")
	}
	for _, want := range []string{"\n  \"title\": \"a <b> & c\",\n", "\"schema\": \"leadline/result/1\"", "\"flat_db\": [],", "\"built_m\": null"} {
		if !strings.Contains(s, want) {
			t.Errorf("%q is missing", want)
		}
	}
	if strings.Contains(s, ": NaN") || strings.Contains(s, `\u00`) {
		t.Error("NaN or an escaped character in the JSON")
	}
	var back analysis.Result
	if err := json.Unmarshal(b.Bytes(), &back); err != nil {
		t.Fatal(err)
	}
	var again bytes.Buffer
	if err := JSON(&again, &back); err != nil {
		t.Fatal(err)
	}
	if again.String() != s {
		t.Error("reading and writing again changes the JSON")
	}
	if back.Positions[7].PanelDB[4] != r.Positions[7].PanelDB[4] {
		t.Error("a number lost digits")
	}
	r.Positions[0].AngleDeg = math.NaN()
	if err := JSON(io.Discard, r); err == nil {
		t.Error("a NaN where a number must be known is no error")
	}
	for name, err := range map[string]error{"HTML": HTML(io.Discard, nil), "Text": Text(io.Discard, nil), "JSON": JSON(io.Discard, nil)} {
		if err == nil {
			t.Errorf("%s of nil is no error", name)
		}
	}
}

// TestEqualPath: every point of the outline has the path length asked for; the definition of the ellipse, here with foci off the plane too.
func TestEqualPath(t *testing.T) {
	for _, axes := range [][2]int{{0, 1}, {1, 2}} {
		s := &scene{h: axes[0], v: axes[1], scale: 100, height: 300}
		source, mic := [3]float64{0.1, 2, 0.2}, [3]float64{-0.6, 0.8, -0.1}
		const length = 3.7
		outline := s.equalPath(source, mic, length)
		if len(outline) == 0 {
			t.Fatal("no outline")
		}
		for _, p := range outline {
			var at [3]float64
			at[s.h], at[s.v] = (p[0]-s.px(0))/s.scale, (s.py(0)-p[1])/s.scale
			path := 0.0
			for _, focus := range [][3]float64{source, mic} {
				path += math.Sqrt((at[0]-focus[0])*(at[0]-focus[0]) + (at[1]-focus[1])*(at[1]-focus[1]) + (at[2]-focus[2])*(at[2]-focus[2]))
			}
			if math.Abs(path-length) > 1e-9 { // rounding of a square root of order 1 with some digits cancelled
				t.Errorf("path %.12f m at %v, want %v", path, at, length)
			}
		}
		if s.equalPath(source, mic, 1.3) != nil {
			t.Error("a path shorter than the way from source to microphone has an outline")
		}
	}
}

// TestToScale: in the cut across the panel one scale holds for widths, built and designed depths, and the scale bar.
func TestToScale(t *testing.T) {
	r := invented()
	var section *element
	for _, svg := range parse(t, render(t, r)).all("svg") {
		if strings.HasPrefix(svg.attr["aria-labelledby"], "section-1-") {
			section = svg
		}
	}
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	var scale float64
	var depths []float64
	for _, e := range section.all("rect") {
		if e.attr["class"] == "wood" {
			scale = number(e.attr["width"]) / r.Panel.WidthM
			if h := number(e.attr["height"]) / scale; math.Abs(h-r.Panel.DepthM) > 0.0002 { // coordinates are written to a tenth: 0.15 mm here
				t.Errorf("the panel is drawn %.4f m deep, want %.4f", h, r.Panel.DepthM)
			}
			continue
		}
		depths = append(depths, number(e.attr["height"])/scale)
		if w := number(e.attr["width"]) / scale; math.Abs(w-r.Panel.WellWidthM) > 0.0002 {
			t.Errorf("a well is drawn %.4f m wide, want %.4f", w, r.Panel.WellWidthM)
		}
	}
	var want []float64
	for _, w := range r.Wells {
		d := w.DesignM
		if w.BuiltM.Known() {
			d = float64(w.BuiltM)
		}
		want = append(want, d)
	}
	if len(depths) != len(want) {
		t.Fatalf("%d wells drawn, want %d", len(depths), len(want))
	}
	for i := range want {
		if math.Abs(depths[i]-want[i]) > 0.0002 {
			t.Errorf("well %d is drawn %.4f m deep, want %.4f", i+1, depths[i], want[i])
		}
	}
	bar := ""
	for _, e := range section.all("path") {
		if e.attr["class"] == "scalebar" {
			bar = regexp.MustCompile(`h([\d.]+)`).FindStringSubmatch(e.attr["d"])[1]
		}
	}
	if mm := number(bar) / scale * 1000; math.Abs(mm-200) > 0.2 {
		t.Errorf("the bar of 200 mm is %.2f mm long", mm)
	}
}

// TestContrast: text has 4.5:1 and drawn lines 3:1 against what they stand on, in both colour schemes (WCAG 2.2, success criteria 1.4.3 and 1.4.11;
// relative luminance as defined there).
func TestContrast(t *testing.T) {
	schemes := regexp.MustCompile(`(?s):root\{(.*?)\}`).FindAllStringSubmatch(styleCSS, 2)
	for i, scheme := range schemes {
		colours := map[string]string{}
		for _, m := range regexp.MustCompile(`--(\w+):#([0-9a-f]{3,6})`).FindAllStringSubmatch(scheme[1], -1) {
			colours[m[1]] = m[2]
		}
		luminance := func(name string) float64 {
			hex := colours[name]
			if len(hex) == 3 {
				hex = fmt.Sprintf("%c%c%c%c%c%c", hex[0], hex[0], hex[1], hex[1], hex[2], hex[2])
			}
			var l float64
			for k, weight := range []float64{0.2126, 0.7152, 0.0722} {
				v, err := strconv.ParseUint(hex[2*k:2*k+2], 16, 8)
				if err != nil {
					t.Fatalf("colour %s: %v", name, err)
				}
				c := float64(v) / 255
				if c <= 0.04045 {
					c /= 12.92
				} else {
					c = math.Pow((c+0.055)/1.055, 2.4)
				}
				l += weight * c
			}
			return l
		}
		contrast := func(a, b string) float64 {
			x, y := luminance(a), luminance(b)
			return (math.Max(x, y) + 0.05) / (math.Min(x, y) + 0.05)
		}
		for _, text := range []string{"ink", "muted", "measured", "good", "bad", "open"} {
			for _, ground := range []string{"paper", "card"} {
				if c := contrast(text, ground); c < 4.5 {
					t.Errorf("scheme %d: text %s on %s has %.2f:1", i, text, ground, c)
				}
			}
		}
		for _, line := range []string{"ink", "measured", "predicted", "flat", "textbook"} {
			for _, ground := range []string{"card", "shade", "gate"} {
				if c := contrast(line, ground); c < 3 {
					t.Errorf("scheme %d: line %s on %s has %.2f:1", i, line, ground, c)
				}
			}
		}
	}
	// Charts fall back on the light scheme's values.
	for c, property := range palette {
		r, g, b, _ := c.RGBA()
		if want := fmt.Sprintf("%s:#%02x%02x%02x", property, r>>8, g>>8, b>>8); !strings.Contains(schemes[0][1], want) {
			t.Errorf("the light scheme lacks %s", want)
		}
	}
	// Without colour, dashes and markers still tell the curves apart.
	seen := map[string]bool{}
	for _, l := range []look{measuredLook, predictedLook, flatLook, predictedFlatLook} {
		k := fmt.Sprintf("%v %T", l.dashes, l.marker)
		if seen[k] {
			t.Errorf("two curves look alike without colour: %s", k)
		}
		seen[k] = true
	}
}

func TestNumbers(t *testing.T) {
	for hz, want := range map[float64]string{1258.925: "1.25 kHz", 1000: "1 kHz", 1250: "1.25 kHz", 316.228: "315 Hz", 794.328: "800 Hz", 1584.893: "1.6 kHz", 3162.28: "3.15 kHz", 125.8925: "125 Hz",
		31.6228: "31.5 Hz", 1059.25: "1.06 kHz", 0: dash, math.NaN(): dash} { // nominal mid-bands of IEC 61260-1:2014, annex E
		if got := strings.ReplaceAll(hertz(hz), nbsp, " "); got != want {
			t.Errorf("hertz(%v) = %q, want %q", hz, got, want)
		}
	}
	for v, want := range map[float64]string{-0.04: "0.0", -0.06: "−0.1", 2.25: "2.2", math.NaN(): dash, math.Inf(-1): dash} {
		if got := fixed(v, 1); got != want {
			t.Errorf("fixed(%v) = %q, want %q", v, got, want)
		}
	}
	if got := outward(span{-7.2, 3}, 5); got != (span{-10, 5}) {
		t.Errorf("outward: %v", got)
	}
	for width, want := range map[float64]float64{10: 2, 7: 2, 5: 1, 0.07: 0.02, 45: 10} {
		if got := niceStep(width, 5); math.Abs(got-want) > 1e-12 {
			t.Errorf("niceStep(%v, 5) = %v, want %v", width, got, want)
		}
	}
}

// TestThinned: a long trace keeps its extremes.
func TestThinned(t *testing.T) {
	var x, y []analysis.Num
	for i := range 10000 {
		x, y = append(x, analysis.Num(float64(i)/1000)), append(y, analysis.Num(math.Sin(float64(i))/10))
	}
	y[4321], y[8765], y[10] = 1, -2, analysis.Unknown()
	_, got := thinned(x, y, 400)
	if len(got) != 800 {
		t.Errorf("%d points", len(got))
	}
	if slices.Max(got) != 1 || slices.Min(got) != -2 {
		t.Errorf("extremes %v and %v", slices.Min(got), slices.Max(got))
	}
}

// TestPointAlone: a curve of one value, without markers, is still seen.
func TestPointAlone(t *testing.T) {
	draw := func(y float64) string {
		s := &series{look: predictedLook.plain()}
		s.add(0, y)
		s.add(1, math.NaN())
		c := chart{id: "c", title: "t", desc: "d", w: 100, h: 80, x: span{-1, 2}, y: span{0, 4}, series: []*series{s}}
		svg, err := c.svg(&sheet{})
		if err != nil {
			t.Fatal(err)
		}
		return string(svg)
	}
	if inside, outside := draw(2), draw(5); len(inside) <= len(outside) {
		t.Errorf("a point inside the axes draws nothing: %s", inside)
	}
}
