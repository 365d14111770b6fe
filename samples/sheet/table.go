package sheet

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// maxProblems bounds what is reported, so that a sheet gone wrong as a whole
// does not flood the terminal.
const maxProblems = 100

// decoder collects the problems of one sheet.
type decoder struct {
	file  string // the sheet, for messages
	doc   *document
	files *folder
	errs  []*Error
	warns []*Error

	lenient bool     // entries without a file do not fail
	absent  []*Error // those entries, if lenient
}

func (d *decoder) errorAt(key, text, hint string) *Error {
	line, col := d.doc.place(key)
	return &Error{File: d.file, Line: line, Col: col, Key: key, Text: text, Hint: hint}
}

// fail reports a problem with a key; hint may be empty.
func (d *decoder) fail(key, text, hint string) {
	if len(d.errs) < maxProblems {
		d.errs = append(d.errs, d.errorAt(key, text, hint))
	}
}

// refuse reports what is wrong with the path or pattern that a key names.
func (d *decoder) refuse(key, path string, bad *fault) {
	if !d.lenient || !bad.absent {
		d.fail(key, bad.text, bad.hint)
		return
	}
	e := d.errorAt(key, bad.text, bad.hint)
	e.Path = path
	d.absent = append(d.absent, e)
}

func (d *decoder) warn(key, text, hint string) {
	if len(d.warns) < maxProblems {
		d.warns = append(d.warns, d.errorAt(key, text, hint))
	}
}

// table reads the keys of one TOML table and remembers which were asked for.
type table struct {
	*decoder
	key   string
	m     map[string]any
	asked []string
}

func (t *table) sub(name string) string { return JoinKey(t.key, name) }

func (t *table) get(name string) (any, bool) {
	t.asked = append(t.asked, name)
	v, ok := t.m[name]
	return v, ok
}

// has reports whether a key is there, right or wrong.
func (t *table) has(name string) bool {
	_, ok := t.m[name]
	return ok
}

// done reports the keys nobody asked for.
func (t *table) done() {
	for _, name := range t.doc.order[t.key] {
		if !slices.Contains(t.asked, name) && t.has(name) {
			t.fail(t.sub(name), "unknown key", t.meant(name))
		}
	}
}

func (t *table) meant(name string) string {
	if c := closest(name, t.asked); c != "" {
		return "did you mean " + c + "?"
	}
	return "known here: " + strings.Join(t.asked, ", ")
}

// child returns a table below this one, nil if it is missing or wrong.
func (t *table) child(name string) *table {
	v, ok := t.get(name)
	if !ok {
		return nil
	}
	return t.asTable(t.sub(name), v, t.sub(name))
}

// asTable checks that v is a table; header is how a sheet would begin it.
func (d *decoder) asTable(key string, v any, header string) *table {
	m, ok := v.(map[string]any)
	if !ok {
		d.fail(key, "must be a table, not "+describe(v), "write ["+header+"]")
		return nil
	}
	return &table{decoder: d, key: key, m: m}
}

// children returns the tables of a [[list]]; entries that are wrong are left
// out.
func (t *table) children(name string) []*table {
	v, ok := t.get(name)
	if !ok {
		return nil
	}
	key := t.sub(name)
	list, ok := v.([]any)
	if !ok {
		t.fail(key, "must be a list of tables, not "+describe(v), "write [["+plainKey(key)+"]]")
		return nil
	}
	var out []*table
	for i, e := range list {
		m, ok := e.(map[string]any)
		if !ok {
			t.fail(entryKey(key, i+1), "must be a table, not "+describe(e), "write [["+plainKey(key)+"]]")
			continue
		}
		out = append(out, &table{decoder: t.decoder, key: entryKey(key, i+1), m: m})
	}
	return out
}

// limits is the range of a number, ends included, with its unit.
type limits struct {
	lo, hi float64
	unit   string
}

// phrase continues a sentence: ", 1 to 16 Hz"; empty without limits.
func (l limits) phrase() string {
	if math.IsInf(l.lo, -1) {
		return ""
	}
	return ", " + l.String()
}

func (l limits) String() string {
	s := number(l.lo) + " to " + number(l.hi)
	if l.unit != "" {
		s += " " + l.unit
	}
	return s
}

// checkNumber returns a finite number within limits, or false and reports.
func (d *decoder) checkNumber(key string, v any, l limits) (float64, bool) {
	x, ok := toNumber(v)
	switch {
	case !ok:
		d.fail(key, "must be a number"+l.phrase()+", not "+describe(v), "")
	case math.IsNaN(x) || math.IsInf(x, 0):
		d.fail(key, "must be a finite number"+l.phrase()+", not "+number(x), "")
	case x < l.lo || x > l.hi:
		d.fail(key, "must be "+l.String()+", not "+number(x), "")
	default:
		return x, true
	}
	return 0, false
}

// float returns a number, nil if it is missing or wrong.
func (t *table) float(name string, l limits) *float64 {
	v, ok := t.get(name)
	if !ok {
		return nil
	}
	x, ok := t.checkNumber(t.sub(name), v, l)
	if !ok {
		return nil
	}
	return &x
}

// needFloat is float for a key that must be there.
func (t *table) needFloat(name string, l limits) *float64 {
	if !t.has(name) {
		t.missing(name, "a number, "+l.String())
	}
	return t.float(name, l)
}

// whole returns an integer, nil if it is missing or wrong.
func (t *table) whole(name string, l limits) *int {
	v, ok := t.get(name)
	if !ok {
		return nil
	}
	if _, isInt := v.(int64); !isInt {
		t.fail(t.sub(name), "must be a whole number, "+l.String()+", not "+describe(v), "")
		return nil
	}
	x, ok := t.checkNumber(t.sub(name), v, l)
	if !ok {
		return nil
	}
	n := int(x)
	return &n
}

// choice returns one of two integers, nil if it is missing or wrong.
func (t *table) choice(name string, a, b int) *int {
	v, ok := t.get(name)
	if !ok {
		return nil
	}
	n, isInt := v.(int64)
	if !isInt || n != int64(a) && n != int64(b) {
		t.fail(t.sub(name), fmt.Sprintf("must be %d or %d, not %s", a, b, describe(v)), "")
		return nil
	}
	out := int(n)
	return &out
}

// text returns one line of text, "" if it is missing or wrong.
func (t *table) text(name string) string {
	v, ok := t.get(name)
	if !ok {
		return ""
	}
	s, ok := t.checkText(t.sub(name), v)
	if !ok {
		return ""
	}
	return s
}

// needText is text for a key that must be there; what says what to write.
func (t *table) needText(name, what string) string {
	if !t.has(name) {
		t.missing(name, what)
	}
	return t.text(name)
}

func (d *decoder) checkText(key string, v any) (string, bool) {
	s, ok := v.(string)
	switch {
	case !ok:
		d.fail(key, "must be text in quotes, not "+describe(v), "")
	case strings.TrimSpace(s) == "":
		d.fail(key, "must not be empty", "")
	case strings.ContainsFunc(s, unicode.IsControl):
		d.fail(key, "must be one line of text without control characters, not "+describe(v), "")
	default:
		return s, true
	}
	return "", false
}

// flag returns a boolean, false if it is missing or wrong.
func (t *table) flag(name string) bool {
	v, ok := t.get(name)
	if !ok {
		return false
	}
	b, ok := v.(bool)
	if !ok {
		t.fail(t.sub(name), "must be true or false, not "+describe(v), "")
	}
	return b
}

// list returns the entries of a list; ok is false if it is missing or wrong.
func (t *table) list(name, of string) (list []any, ok bool) {
	v, there := t.get(name)
	if !there {
		return nil, false
	}
	list, ok = v.([]any)
	if !ok {
		t.fail(t.sub(name), "must be a list of "+of+" in brackets, not "+describe(v), "")
	}
	return list, ok
}

// missing reports a key that must be there.
func (t *table) missing(name, what string) {
	t.fail(t.sub(name), "missing", "must be "+what)
}

func toNumber(v any) (float64, bool) {
	switch x := v.(type) {
	case int64:
		return float64(x), true
	case float64:
		return x, true
	}
	return 0, false
}

// number writes x the way people do.
func number(x float64) string {
	if a := math.Abs(x); a == 0 || a >= 1e-4 && a < 1e15 {
		return strconv.FormatFloat(x, 'f', -1, 64)
	}
	return strconv.FormatFloat(x, 'g', -1, 64)
}

// describe names a TOML value in a message.
func describe(v any) string {
	switch x := v.(type) {
	case string:
		return "the text " + quote(x)
	case bool:
		return strconv.FormatBool(x)
	case int64:
		return strconv.FormatInt(x, 10)
	case float64:
		return number(x)
	case []any:
		return "a list"
	case map[string]any:
		return "a table"
	}
	return "a date or time"
}

// quote shows text in a message, shortened.
func quote(s string) string {
	const longest = 80
	if utf8.RuneCountInString(s) > longest {
		s = string([]rune(s)[:longest]) + "…"
	}
	return strconv.Quote(s)
}

// plainKey is a key without the numbers of its entries, as a TOML header
// writes it.
func plainKey(key string) string {
	var parts []string
	for key != "" {
		owner := ownerKey(key)
		if !strings.HasSuffix(key, "]") {
			parts = append(parts, strings.TrimPrefix(key[len(owner):], "."))
		}
		key = owner
	}
	slices.Reverse(parts)
	return strings.Join(parts, ".")
}

// or returns what p points to, or a default.
func or[T any](p *T, otherwise T) T {
	if p == nil {
		return otherwise
	}
	return *p
}
