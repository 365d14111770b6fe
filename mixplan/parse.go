package mixplan

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	toml "github.com/pelletier/go-toml/v2"

	"tachbench/samples/sheet"
)

// maxPlanBytes is far more than the plan of ten thousand sounds needs.
const maxPlanBytes = 8 << 20

// maxProblems bounds what is reported of a file gone wrong as a whole.
const maxProblems = 100

// Load reads and checks plan.toml. The error is a sheet.Errors; the plan is
// nil then.
func Load(path string) (*Plan, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, sheet.Errors{{File: path, Text: "cannot be read: " + bare(err).Error(), Err: err}}
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxPlanBytes+1))
	if err != nil {
		return nil, sheet.Errors{{File: path, Text: "cannot be read: " + bare(err).Error(), Err: err}}
	}
	return Parse(path, data)
}

// Parse checks the text of a plan; name is used in messages. It sees the plan
// alone: whether it fits a sheet is told by Fit. The error is a sheet.Errors
// with file, line, column and key.
func Parse(name string, data []byte) (*Plan, error) {
	if len(data) > maxPlanBytes {
		return nil, sheet.Errors{{File: name, Text: fmt.Sprintf("is larger than %d bytes and surely no plan", maxPlanBytes)}}
	}
	data = bytes.TrimPrefix(data, []byte("\xEF\xBB\xBF"))
	for i := 0; i < len(data); {
		r, n := utf8.DecodeRune(data[i:])
		if r == utf8.RuneError && n == 1 {
			pos := positionOf(data, i)
			return nil, sheet.Errors{{File: name, Line: pos.line, Col: pos.col, Text: "this byte is not UTF-8 text", Hint: "save the plan as UTF-8"}}
		}
		i += n
	}
	var root map[string]any
	if err := toml.Unmarshal(data, &root); err != nil {
		return nil, sheet.Errors{syntaxError(name, data, err)}
	}
	r := &reader{plan: &Plan{File: name, at: places(data)}}
	r.all(root)
	if len(r.errs) > 0 {
		slices.SortStableFunc(r.errs, func(a, b *sheet.Error) int {
			return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Col, b.Col))
		})
		return nil, r.errs
	}
	return r.plan, nil
}

// reader collects what a plan says and what is wrong with it.
type reader struct {
	plan *Plan
	errs sheet.Errors
}

func (r *reader) fail(key, text, hint string) {
	if len(r.errs) < maxProblems {
		r.errs = append(r.errs, r.plan.fault(key, text, hint))
	}
}

// entry is one TOML table and its key.
type entry struct {
	*reader
	key string
	m   map[string]any
}

func (r *reader) all(root map[string]any) {
	e := entry{r, "", root}
	e.known("title", "bus_gain_db", "priority", "trim", "ducking")
	r.plan.Title = e.optionalText("title")
	r.plan.BusGainDB, _ = e.number("bus_gain_db", gainBounds, false)
	r.priorities(e)
	seen := map[[2]string]string{}
	for _, t := range e.tables("trim") {
		trim := t.trim()
		id := [2]string{trim.Category, trim.Path}
		if first, twice := seen[id]; twice && trim.Category != "" {
			t.fail(t.key, "trims the same as "+first, "keep one of the two")
		}
		seen[id] = t.key
		r.plan.Trims = append(r.plan.Trims, trim)
	}
	for _, t := range e.tables("ducking") {
		d, good := t.duck()
		if good {
			t.compare(d)
		}
		r.plan.Ducks = append(r.plan.Ducks, d)
	}
}

func (r *reader) priorities(root entry) {
	v, ok := root.m["priority"]
	if !ok {
		return
	}
	m, ok := v.(map[string]any)
	if !ok {
		r.fail("priority", "must be a table of categories, not "+describe(v), "write [priority]")
		return
	}
	e := entry{r, "priority", m}
	for _, name := range sortedKeys(m) {
		n, isInt := m[name].(int64)
		if !isInt || n < 0 || n > 100 {
			r.fail(e.sub(name), "must be a whole number, 0 to 100, not "+describe(m[name]), "")
			continue
		}
		if !plain(name) {
			r.fail(e.sub(name), "a category needs a name of one line", "")
			continue
		}
		r.plan.Priorities = append(r.plan.Priorities, Priority{name, int(n)})
	}
}

func (e entry) trim() Trim {
	e.known("path", "category", "trim_db")
	t := Trim{Path: e.optionalText("path"), Category: e.text("category")}
	t.TrimDB, _ = e.number("trim_db", trimBounds, true)
	return t
}

// duck reads one [[ducking]] and reports whether it is right.
func (e entry) duck() (Duck, bool) {
	before := len(e.errs)
	e.known("under", "category", "depth_db", "attack_ms", "hold_ms", "release_ms", "lookahead_ms", "dip_low_hz", "dip_high_hz")
	d := Duck{Under: e.text("under"), Category: e.text("category")}
	any := bounds{math.Inf(-1), math.Inf(1), ""} // the ranges are judged together, below
	d.DepthDB, _ = e.number("depth_db", any, true)
	d.AttackMS, _ = e.number("attack_ms", any, true)
	d.HoldMS, _ = e.number("hold_ms", any, true)
	d.ReleaseMS, _ = e.number("release_ms", any, true)
	d.LookaheadMS, _ = e.number("lookahead_ms", any, false)
	low, hasLow := e.number("dip_low_hz", any, false)
	high, hasHigh := e.number("dip_high_hz", any, false)
	switch {
	case hasLow && hasHigh:
		d.Dip = &Dip{low, high}
	case hasLow:
		e.fail(e.sub("dip_low_hz"), "needs dip_high_hz beside it", "a dip has two edges")
	case hasHigh:
		e.fail(e.sub("dip_high_hz"), "needs dip_low_hz beside it", "a dip has two edges")
	}
	if len(e.errs) == before {
		for _, s := range d.slips() {
			e.fail(e.sub(s.name), s.text, s.hint)
		}
	}
	return d, len(e.errs) == before
}

// compare holds a duck against those before it.
func (e entry) compare(d Duck) {
	for i, other := range e.plan.Ducks {
		if other.Category != d.Category {
			continue
		}
		first := entryKey("ducking", i+1)
		if other.Under == d.Under {
			e.fail(e.key, fmt.Sprintf("%s under %s is %s already", d.Category, d.Under, first), "keep one of the two")
			return
		}
		if d.Dip != nil && other.Dip != nil && *d.Dip != *other.Dip && d.Dip.LowHz < other.Dip.HighHz && other.Dip.LowHz < d.Dip.HighHz {
			e.fail(e.sub("dip_low_hz"), "this band overlaps that of "+first, "dips of one category share a band or lie apart")
			return
		}
	}
}

func (e entry) sub(name string) string { return sheet.JoinKey(e.key, name) }

// known reports the keys that are none of names.
func (e entry) known(names ...string) {
	for _, k := range sortedKeys(e.m) {
		if !slices.Contains(names, k) {
			e.fail(e.sub(k), "unknown key", "known here: "+strings.Join(names, ", "))
		}
	}
}

// tables returns the entries of a [[list]].
func (e entry) tables(name string) []entry {
	v, ok := e.m[name]
	if !ok {
		return nil
	}
	list, ok := v.([]any)
	if !ok {
		e.fail(name, "must be a list of tables, not "+describe(v), "write [["+name+"]]")
		return nil
	}
	var out []entry
	for i, one := range list {
		m, ok := one.(map[string]any)
		if !ok {
			e.fail(entryKey(name, i+1), "must be a table, not "+describe(one), "write [["+name+"]]")
			continue
		}
		out = append(out, entry{e.reader, entryKey(name, i+1), m})
	}
	return out
}

// number returns a finite number within b; false if it is missing or wrong.
func (e entry) number(name string, b bounds, needed bool) (float64, bool) {
	v, ok := e.m[name]
	if !ok {
		if needed {
			e.fail(e.sub(name), "missing", "must be a number")
		}
		return 0, false
	}
	var x float64
	switch n := v.(type) {
	case int64:
		x = float64(n)
	case float64:
		x = n
	default:
		e.fail(e.sub(name), "must be a number, not "+describe(v), "")
		return 0, false
	}
	switch {
	case math.IsNaN(x) || math.IsInf(x, 0):
		e.fail(e.sub(name), "must be a finite number, not "+number(x), "")
	case x < b.lo || x > b.hi:
		e.fail(e.sub(name), "must be "+b.String()+", not "+number(x), "")
	default:
		return x, true
	}
	return 0, false
}

func (e entry) text(name string) string {
	if _, ok := e.m[name]; !ok {
		e.fail(e.sub(name), "missing", "must be text in quotes")
	}
	return e.optionalText(name)
}

func (e entry) optionalText(name string) string {
	v, ok := e.m[name]
	if !ok {
		return ""
	}
	s, isText := v.(string)
	if !isText || !plain(s) {
		e.fail(e.sub(name), "must be one line of text in quotes, not "+describe(v), "")
		return ""
	}
	return s
}

// plain reports whether s is one line that is not blank.
func plain(s string) bool {
	return strings.TrimSpace(s) != "" && !strings.ContainsFunc(s, unicode.IsControl)
}

func sortedKeys(m map[string]any) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// describe names a TOML value in a message.
func describe(v any) string {
	switch x := v.(type) {
	case string:
		if r := []rune(x); len(r) > 80 {
			x = string(r[:80]) + "…"
		}
		return "the text " + strconv.Quote(x)
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

// bare strips operation and path from an error of package os, since the
// message names the file already.
func bare(err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err
	}
	return err
}
