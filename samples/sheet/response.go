package sheet

import (
	"math"
	"path/filepath"
	"strconv"
	"strings"
	"unicode/utf8"
)

const maxResponseBytes = 1 << 20

// response reads a CSV file of hz,db rows. Empty lines and lines that begin
// with # are skipped; the first row may be the heading "hz,db". Problems are
// placed in that file.
func (d *decoder) response(key string, p Path) []ResponsePoint {
	data, err := readAtMost(p.Abs, maxResponseBytes)
	if err != nil {
		d.fail(key, quote(p.Rel)+" "+err.Error(), "")
		return nil
	}
	file := filepath.Join(filepath.Dir(d.file), filepath.FromSlash(p.Rel))
	fail := func(line int, text, hint string) {
		if len(d.errs) < maxProblems {
			d.errs = append(d.errs, &Error{File: file, Line: line, Col: 1, Key: key, Text: text, Hint: hint})
		}
	}
	var points []ResponsePoint
	before := len(d.errs)
	first := true
	lines := strings.Split(string(trimMark(data)), "\n")
	for i, line := range lines {
		line = strings.TrimSpace(line)
		if line == "" || line[0] == '#' {
			continue
		}
		heading := first && strings.EqualFold(strings.ReplaceAll(line, " ", ""), "hz,db")
		first = false
		if heading {
			continue
		}
		pt, text, hint := responseRow(line)
		switch {
		case text != "":
			fail(i+1, text, hint)
		case len(points) > 0 && pt.Hz <= points[len(points)-1].Hz:
			fail(i+1, "frequencies must ascend, but "+number(pt.Hz)+" Hz follows "+number(points[len(points)-1].Hz)+" Hz", "")
		default:
			points = append(points, pt)
		}
	}
	if len(d.errs) > before || len(d.errs) == maxProblems {
		return nil
	}
	if len(points) < 2 {
		d.fail(key, quote(p.Rel)+" has "+strconv.Itoa(len(points))+" rows of hz,db", "a response needs at least 2")
		return nil
	}
	return points
}

// responseRow reads one row; text says what is wrong with it.
func responseRow(line string) (pt ResponsePoint, text, hint string) {
	if !utf8.ValidString(line) {
		return pt, "is not UTF-8 text", "expected rows of hz,db"
	}
	if strings.ContainsAny(line, ";\t") {
		hint = "separate the two with a comma, with a point in the numbers"
	}
	f := strings.Split(line, ",")
	if len(f) != 2 {
		return pt, "must be two numbers, hz,db, not " + quote(line), hint
	}
	for i, c := range []struct {
		to *float64
		limits
	}{{&pt.Hz, limits{1, 100000, "Hz"}}, {&pt.DB, limits{-120, 60, "dB"}}} {
		s := strings.TrimSpace(f[i])
		x, err := strconv.ParseFloat(s, 64)
		// ParseFloat also takes "nan", "0x1p4" and 1_000, none of them data.
		if err != nil || strings.ContainsAny(s, "xX_") || math.IsNaN(x) {
			return pt, "must be two numbers, hz,db, not " + quote(line), hint
		}
		if x < c.lo || x > c.hi {
			return pt, "must be " + c.limits.String() + ", not " + number(x), ""
		}
		*c.to = x
	}
	return pt, "", ""
}
