// Package report renders one [analysis.Result] as a self-contained HTML page, as a short text and as JSON.
//
// It computes no figure: every number shown stands in the Result. What it does compute is drawing: scaling to pixels,
// choosing ticks, thinning a trace to what a screen can show, and the outline of the gate (the points that sound can reach by way of
// source, point, microphone within the gate) in the drawing of the set-up.
//
// # How the page is made
//
//   - page.tmpl and style.css are the page; html/template escapes all text. The only strings that bypass it are the SVG drawings,
//     whose writer (svg.go) escapes every text itself, the style sheet, the script, and the script's data, JSON that can't end its element.
//   - The content security policy allows nothing but the one style sheet and the one script, by their hashes. So there are no style attributes:
//     a style attribute would silently not apply, and the script sets classes and attributes of SVG only.
//   - live.js makes nothing that the page needs: without it and on paper all is there. It reads values off charts (a series with a name
//     can be read off) and gates the kept responses anew, by the formula of analysis.Responses; live.go packs both. It puts text in as text, never as markup.
//   - Charts with axes go through gonum.org/v1/plot and its SVG canvas. recode (svg.go) then replaces each style attribute by a class,
//     so that colours follow the reader's light or dark scheme, and rounds coordinates to a tenth. A colour is one of the
//     constants in palette; a new colour needs an entry there and a custom property in style.css.
//   - One thing, one look, in every picture: measured blue and solid with filled discs, predicted orange and dashed, flat board grey with
//     hollow squares, textbook formula violet and dotted. Never tell things apart by colour alone.
//   - Each picture is a figure (figures.go) with one line on what is seen (Result.Seen, where the analysis has one), one on how sure it is, how to read it, and
//     tables of its numbers. A picture without data becomes a sentence. Frequencies are drawn on a linear axis of log10, so that a zero can't break a log axis.
//   - The same Result gives the same bytes.
package report
