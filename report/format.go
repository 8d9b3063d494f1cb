package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"

	"github.com/leadline/leadline/analysis"
)

const (
	dash = "–"      // stands for a number that isn't known
	nbsp = "\u00a0" // between a number and its unit
)

// finite reports whether every one of vs is a number that can be drawn. Beyond 1e9 no quantity of ours is one.
func finite(vs ...float64) bool {
	for _, v := range vs {
		if math.IsNaN(v) || math.Abs(v) > 1e9 {
			return false
		}
	}
	return true
}

// at is s[i], NaN where it is missing or unknown.
func at(s []analysis.Num, i int) float64 {
	if i < 0 || i >= len(s) || !finite(float64(s[i])) {
		return math.NaN()
	}
	return float64(s[i])
}

// fixed writes v with decimals digits after the point, with a true minus sign.
func fixed(v float64, decimals int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return dash
	}
	if math.Abs(v) >= 1e6 { // nothing of ours is as large: don't let it burst a table
		return strings.Replace(strconv.FormatFloat(v, 'e', 0, 64), "-", "−", 1)
	}
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-") // no minus zero
	}
	return strings.Replace(s, "-", "−", 1)
}

func num(n analysis.Num, decimals int) string { return fixed(float64(n), decimals) }

// scaled writes n in another unit: mm for metres and ms for seconds have scale 1000.
func scaled(n analysis.Num, scale float64, decimals int) string {
	return fixed(float64(n)*scale, decimals)
}

// unit writes a number with its unit, or the dash alone.
func unit(number, unit string) string {
	if number == dash {
		return dash
	}
	return number + nbsp + unit
}

// between writes an interval, empty where there is none.
func between(i *analysis.Interval, decimals int) string {
	if i == nil || !i.Low.Known() && !i.High.Known() {
		return ""
	}
	return num(i.Low, decimals) + " to " + num(i.High, decimals)
}

var nominal = [10]string{"1", "1.25", "1.6", "2", "2.5", "3.15", "4", "5", "6.3", "8"}

// bandFigure is the nominal mid-band frequency where hz is an exact third-octave mid-band (IEC 61260-1), else hz to three digits; NaN for what is no frequency of sound.
func bandFigure(hz float64) float64 {
	if !(hz >= 0.1 && hz <= 1e6) {
		return math.NaN()
	}
	k := math.Round(10 * math.Log10(hz))
	decade := math.Floor(k / 10)
	if math.Abs(hz/math.Pow(10, k/10)-1) < 0.015 {
		v, _ := strconv.ParseFloat(nominal[int(k-10*decade)]+"e"+strconv.Itoa(int(decade)), 64)
		return v
	}
	v, _ := strconv.ParseFloat(strconv.FormatFloat(hz, 'g', 3, 64), 64)
	return v
}

// hertz writes a frequency to three digits, with its unit; centre frequencies of third octaves by their usual names.
func hertz(hz float64) string {
	v := bandFigure(hz)
	switch {
	case math.IsNaN(v):
		return dash
	case v >= 1000:
		return strconv.FormatFloat(v/1000, 'f', -1, 64) + nbsp + "kHz"
	}
	return strconv.FormatFloat(v, 'f', -1, 64) + nbsp + "Hz"
}

// hertzTick is hertz for an axis that already says Hz.
func hertzTick(hz float64) string {
	v := bandFigure(hz)
	if v >= 1000 {
		return strconv.FormatFloat(v/1000, 'f', -1, 64) + "k"
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

// degrees writes an angle with the sign that tells the side.
func degrees(deg float64) string {
	s := fixed(deg, 1)
	s = strings.TrimSuffix(s, ".0")
	if deg > 0 && s != "0" && s != dash {
		s = "+" + s
	}
	return s
}

// count writes "1 well", "2 wells".
func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// clean replaces what could steer a terminal or turn the reading direction by a visible mark.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t':
			return ' '
		case unicode.Is(unicode.Cc, r) || unicode.Is(unicode.Bidi_Control, r):
			return '�'
		}
		return r
	}, strings.ToValidUTF8(s, "�"))
}

// shorten cuts s to at most n characters.
func shorten(s string, n int) string {
	r := []rune(clean(s))
	if len(r) <= n {
		return string(r)
	}
	return string(r[:n-1]) + "…"
}

// upperFirst begins a sentence with s.
func upperFirst(s string) string {
	r := []rune(s)
	if len(r) == 0 {
		return s
	}
	r[0] = unicode.ToUpper(r[0])
	return string(r)
}
