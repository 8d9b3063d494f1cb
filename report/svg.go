package report

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"html"
	"html/template"
	"image/color"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"
)

// palette names the custom property of style.css behind each colour that a chart may use.
// The values are those of the light scheme, so that a chart is right even without the style sheet's variables.
var palette = map[color.Color]string{
	inkColour:       "--ink",
	mutedColour:     "--muted",
	ruleColour:      "--rule",
	shadeColour:     "--shade",
	gateColour:      "--gate",
	measuredColour:  "--measured",
	predictedColour: "--predicted",
	flatColour:      "--flat",
	textbookColour:  "--textbook",
}

var (
	inkColour       = rgb(0x1c, 0x20, 0x26)
	mutedColour     = rgb(0x50, 0x57, 0x62)
	ruleColour      = rgb(0xdd, 0xd9, 0xd0)
	shadeColour     = rgb(0xe8, 0xe5, 0xdd)
	gateColour      = rgb(0xe3, 0xec, 0xf3)
	measuredColour  = rgb(0x0a, 0x57, 0x8f)
	predictedColour = rgb(0xb2, 0x47, 0x0a)
	flatColour      = rgb(0x6a, 0x70, 0x7a)
	textbookColour  = rgb(0x7b, 0x2d, 0x8b)
)

func rgb(r, g, b uint8) color.Color { return color.RGBA{r, g, b, 255} }

// sheet collects the classes that stand for the charts' style attributes, in the order of their first use, and the points of the charts.
type sheet struct {
	class  map[string]string
	rules  strings.Builder
	charts []liveChart // for the script
}

func (s *sheet) classOf(declarations string) string {
	if c, ok := s.class[declarations]; ok {
		return c
	}
	if s.class == nil {
		s.class = map[string]string{}
	}
	c := "v" + strconv.Itoa(len(s.class))
	s.class[declarations] = c
	fmt.Fprintf(&s.rules, ".%s{%s}\n", c, declarations)
	return c
}

// declarations turns a style attribute of vgsvg into CSS: colours become custom properties and the font is left to the page.
func declarations(style string) string {
	var kept []string
	for _, d := range strings.Split(style, ";") {
		name, value, ok := strings.Cut(d, ":")
		if !ok || strings.HasPrefix(name, "font-") && name != "font-size" && !(name == "font-weight" && value == "bold") {
			continue
		}
		for c, property := range palette {
			r, g, b, _ := c.RGBA()
			if value == fmt.Sprintf("#%02X%02X%02X", r>>8, g>>8, b>>8) {
				value = "var(" + property + ")"
				break
			}
		}
		kept = append(kept, name+":"+value)
	}
	return strings.Join(kept, ";")
}

var coordinate = regexp.MustCompile(`-?\d*\.?\d+(?:e[-+]?\d+)?`)

// tenths rounds every number of path data: a tenth of a unit is finer than a screen shows.
func tenths(d string) string {
	return coordinate.ReplaceAllStringFunc(d, func(s string) string {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			return s
		}
		return coord(v)
	})
}

func coord(v float64) string {
	return strconv.FormatFloat(math.Round(v*10)/10+0, 'f', -1, 64)
}

// drawPlot draws p with gonum and recodes its SVG for the page.
func (s *sheet) drawPlot(p *plot.Plot, id, title, desc string, w, h float64) (template.HTML, error) {
	c := vgsvg.New(vg.Length(w), vg.Length(h))
	p.Draw(draw.New(c))
	var raw bytes.Buffer
	if _, err := c.WriteTo(&raw); err != nil {
		return "", fmt.Errorf("report: drawing %q: %w", title, err)
	}
	body, err := s.recode(&raw)
	if err != nil {
		return "", fmt.Errorf("report: drawing %q: %w", title, err)
	}
	return wrap(id, title, desc, w, h, body), nil
}

// recode copies what stands inside the root element of an SVG of vgsvg: style attributes become classes, and paths of
// one class that follow one another become one path, which halves the size of a chart with many markers.
func (s *sheet) recode(in io.Reader) (string, error) {
	var out, pending strings.Builder
	pendingClass := ""
	flush := func() {
		if pending.Len() > 0 {
			fmt.Fprintf(&out, `<path class="%s" d="%s"/>`, pendingClass, pending.String())
			pending.Reset()
		}
	}
	depth := 0
	dec := xml.NewDecoder(in)
	for {
		tok, err := dec.Token()
		if err == io.EOF {
			return out.String(), nil
		}
		if err != nil {
			return "", err
		}
		switch tok := tok.(type) {
		case xml.StartElement:
			depth++
			attr := map[string]string{}
			for _, a := range tok.Attr {
				attr[a.Name.Local] = a.Value
			}
			switch tok.Name.Local {
			case "g":
				flush()
				fmt.Fprintf(&out, `<g transform="%s">`, html.EscapeString(attr["transform"]))
			case "path":
				class := s.classOf(declarations(attr["style"]))
				if class != pendingClass {
					flush()
					pendingClass = class
				}
				pending.WriteString(tenths(attr["d"]))
			case "text":
				flush()
				fmt.Fprintf(&out, `<text class="%s" x="%s" y="%s" transform="scale(1,-1)"`, s.classOf(declarations(attr["style"])), tenths(attr["x"]), tenths(attr["y"]))
				label, err := dec.Token()
				if err != nil {
					return "", err
				}
				text, _ := label.(xml.CharData)
				// The place was worked out from the widths of one font; where the reader's letters are wider they are made to fit it.
				if w := styledWidth(strings.TrimSpace(string(text)), attr["style"]); w > 0 {
					fmt.Fprintf(&out, ` textLength="%s" lengthAdjust="spacingAndGlyphs"`, coord(w))
				}
				out.WriteString(">" + html.EscapeString(strings.TrimSpace(string(text))))
			}
		case xml.EndElement:
			depth--
			if n := tok.Name.Local; n == "g" || n == "text" {
				flush()
				out.WriteString("</" + n + ">")
			}
		case xml.CharData:
			if text := strings.TrimSpace(string(tok)); text != "" && depth > 0 {
				out.WriteString(html.EscapeString(text))
			}
		}
	}
}

var fontSize = regexp.MustCompile(`font-size:([\d.]+)px`)

// styledWidth is the width of s at the size that a style attribute of vgsvg gives; 0 where that names none.
func styledWidth(s, style string) float64 {
	m := fontSize.FindStringSubmatch(style)
	if m == nil {
		return 0
	}
	size, err := strconv.ParseFloat(m[1], 64)
	if err != nil {
		return 0
	}
	return drawnWidth(s, size)
}

// drawnWidth is the width of s in the font that drawings are laid out with.
func drawnWidth(s string, size float64) float64 {
	face := font.DefaultCache.Lookup(sansFont(vg.Length(size)), vg.Length(size))
	return face.Width(s).Points()
}

// wrap makes a whole SVG of body, with the name and the description that stand in for it where it can't be seen.
func wrap(id, title, desc string, w, h float64, body string) template.HTML {
	return template.HTML(fmt.Sprintf(
		`<svg xmlns="http://www.w3.org/2000/svg" class="drawing" width="%[4]s" height="%[5]s" viewBox="0 0 %[4]s %[5]s" role="img" aria-labelledby="%[1]s-t %[1]s-d">`+
			`<title id="%[1]s-t">%[2]s</title><desc id="%[1]s-d">%[3]s</desc>%[6]s</svg>`,
		html.EscapeString(id), html.EscapeString(clean(title)), html.EscapeString(clean(desc)), coord(w), coord(h), body))
}

// pen writes a drawing by hand: y runs down, one unit is a pixel at full size, classes stand in style.css.
type pen struct{ strings.Builder }

func (p *pen) line(class string, x1, y1, x2, y2 float64) {
	fmt.Fprintf(p, `<path class="%s" d="M%s %sL%s %s"/>`, class, coord(x1), coord(y1), coord(x2), coord(y2))
}

func (p *pen) rect(class string, x, y, w, h float64) {
	fmt.Fprintf(p, `<rect class="%s" x="%s" y="%s" width="%s" height="%s"/>`, class, coord(x), coord(y), coord(math.Max(w, 0)), coord(math.Max(h, 0)))
}

func (p *pen) circle(class string, x, y, r float64) {
	fmt.Fprintf(p, `<circle class="%s" cx="%s" cy="%s" r="%s"/>`, class, coord(x), coord(y), coord(r))
}

func (p *pen) path(class, d string) { fmt.Fprintf(p, `<path class="%s" d="%s"/>`, class, d) }

// text writes s with its anchor (start, middle or end) at x and its baseline at y.
func (p *pen) text(class, anchor string, x, y float64, s string) {
	fmt.Fprintf(p, `<text class="%s" text-anchor="%s" x="%s" y="%s">%s</text>`, class, anchor, coord(x), coord(y), html.EscapeString(clean(s)))
}

// fitted is text made to fit the width w, whatever the reader's font.
func (p *pen) fitted(class, anchor string, x, y, w float64, s string) {
	fmt.Fprintf(p, `<text class="%s" text-anchor="%s" x="%s" y="%s" textLength="%s" lengthAdjust="spacingAndGlyphs">%s</text>`, class, anchor, coord(x), coord(y), coord(w), html.EscapeString(clean(s)))
}

// polyline is path data through pts, with a gap wherever a point isn't finite.
func polyline(pts [][2]float64, closed bool) string {
	var b strings.Builder
	up := true
	for _, p := range pts {
		if !finite(p[0], p[1]) {
			up = true
			continue
		}
		if up {
			b.WriteByte('M')
		} else {
			b.WriteByte('L')
		}
		up = false
		b.WriteString(coord(p[0]) + " " + coord(p[1]))
	}
	if closed && b.Len() > 0 {
		b.WriteByte('Z')
	}
	return b.String()
}
