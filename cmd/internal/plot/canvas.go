package plot

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"
)

// Inks of everything that is not data.
const (
	paper    = "#fffefb"
	ink      = "#1c1e26"
	softInk  = "#565b68" // 6.5:1 on paper, for secondary text
	gridInk  = "#8d93a1"
	fontPile = "system-ui, 'DejaVu Sans', Verdana, Arial, sans-serif"
)

// box is the place that a text takes, in picture units. Kept so that labels
// can be placed, and checked, without a font engine.
type box struct {
	x0, y0, x1, y1 float64
	text           string
}

func (b box) overlaps(o box) bool {
	return b.x0 < o.x1 && o.x0 < b.x1 && b.y0 < o.y1 && o.y0 < b.y1
}

// canvas collects SVG elements.
type canvas struct {
	w, h        float64
	title, desc string
	buf         bytes.Buffer
	boxes       []box
}

// anchor of a text: where x lies in it.
type anchor string

const (
	left   anchor = "start"
	middle anchor = "middle"
	right  anchor = "end"
)

// style of a text. The zero value is plain ink at 12 units.
type style struct {
	size   float64
	weight string
	fill   string
	at     anchor
}

func (s style) filled() style {
	if s.size == 0 {
		s.size = 12
	}
	if s.fill == "" {
		s.fill = ink
	}
	if s.at == "" {
		s.at = left
	}
	return s
}

// textWidth estimates the width of s at a font size. 0.62 em a letter is on
// the wide side of common sans-serif faces, so that a label which fits by
// this count also fits on the screen; wide East Asian letters take 1 em.
func textWidth(s string, size float64) float64 {
	var em float64
	for _, r := range s {
		switch {
		case unicode.In(r, unicode.Mn, unicode.Me, unicode.Cf):
		case r >= 0x1100 && unicode.In(r, unicode.Han, unicode.Hangul, unicode.Hiragana, unicode.Katakana):
			em += 1.02
		case r > 0xffff:
			em += 1.3
		default:
			em += 0.62
		}
	}
	return em * size
}

// fit shortens s with an ellipsis in its middle until it is at most w wide.
func fit(s string, size, w float64) string {
	if textWidth(s, size) <= w {
		return s
	}
	r := []rune(s)
	for keep := len(r) - 1; keep > 0; keep-- {
		head := (keep + 1) / 2
		short := string(r[:head]) + "…" + string(r[len(r)-(keep-head):])
		if textWidth(short, size) <= w {
			return short
		}
	}
	return ""
}

// text writes s with its baseline at y and remembers the box it takes.
func (c *canvas) text(x, y float64, s string, st style) {
	st = st.filled()
	w := textWidth(s, st.size)
	x0 := x
	switch st.at {
	case middle:
		x0 = x - w/2
	case right:
		x0 = x - w
	}
	c.boxes = append(c.boxes, box{x0, y - 0.8*st.size, x0 + w, y + 0.25*st.size, s})
	c.writeText(num(x), num(y), "", s, st)
}

// textUp writes s turned a quarter to the left, centred on (x, y).
func (c *canvas) textUp(x, y float64, s string, st style) {
	st = st.filled()
	st.at = middle
	w := textWidth(s, st.size)
	c.boxes = append(c.boxes, box{x - 0.8*st.size, y - w/2, x + 0.25*st.size, y + w/2, s})
	c.writeText(num(x), num(y), fmt.Sprintf(` transform="rotate(-90 %s %s)"`, num(x), num(y)), s, st)
}

func (c *canvas) writeText(x, y, more, s string, st style) {
	weight := ""
	if st.weight != "" {
		weight = ` font-weight="` + st.weight + `"`
	}
	fmt.Fprintf(&c.buf, `<text x="%s" y="%s"%s font-size="%s"%s fill="%s" text-anchor="%s">%s</text>`+"\n",
		x, y, more, num(st.size), weight, st.fill, st.at, escape(s))
}

func (c *canvas) rect(x, y, w, h float64, fill, stroke string) {
	fmt.Fprintf(&c.buf, `<rect x="%s" y="%s" width="%s" height="%s" fill="%s" stroke="%s"/>`+"\n",
		num(x), num(y), num(w), num(h), fill, stroke)
}

func (c *canvas) line(x0, y0, x1, y1 float64, stroke string, width float64, dash string) {
	fmt.Fprintf(&c.buf, `<line x1="%s" y1="%s" x2="%s" y2="%s" stroke="%s" stroke-width="%s"%s/>`+"\n",
		num(x0), num(y0), num(x1), num(y1), stroke, num(width), dashAttr(dash))
}

// path draws d, and nothing when d is empty.
func (c *canvas) path(d, class, stroke string, width float64, dash string) {
	if d == "" {
		return
	}
	fmt.Fprintf(&c.buf, `<path class="%s" d="%s" fill="none" stroke="%s" stroke-width="%s" stroke-linecap="round" stroke-linejoin="round"%s/>`+"\n",
		class, d, stroke, num(width), dashAttr(dash))
}

func dashAttr(dash string) string {
	if dash == "" {
		return ""
	}
	return ` stroke-dasharray="` + dash + `"`
}

// svg closes the picture.
func (c *canvas) svg() []byte {
	var out bytes.Buffer
	fmt.Fprintf(&out, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %s %s" width="%s" height="%s" role="img" aria-labelledby="t d" font-family="%s">`+"\n",
		num(c.w), num(c.h), num(c.w), num(c.h), fontPile)
	fmt.Fprintf(&out, "<title id=\"t\">%s</title>\n<desc id=\"d\">%s</desc>\n", escape(c.title), escape(c.desc))
	fmt.Fprintf(&out, `<rect width="%s" height="%s" fill="%s"/>`+"\n", num(c.w), num(c.h), paper)
	out.Write(c.buf.Bytes())
	out.WriteString("</svg>\n")
	return out.Bytes()
}

// num writes a coordinate with at most one decimal.
func num(v float64) string {
	s := strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64)
	if s == "-0" {
		return "0"
	}
	return s
}

// escape makes any string, valid text or not, safe inside XML.
func escape(s string) string {
	var b strings.Builder
	// A strings.Builder never fails to write.
	_ = xml.EscapeText(&b, []byte(s))
	return b.String()
}
