package sheet

import (
	"math"
	"strings"
	"unicode"
)

// Category is one table [category.NAME].
type Category struct {
	Name string // callout, effect, music, engine or any other
	Key  string // for Sheet.Errorf; a limit's key is JoinKey(Key+".limits", name)

	// Files are all its files: those of the key files in the order of the
	// patterns, then those that stand_in alone names. None occurs twice, and
	// none belongs to another category.
	Files []File

	TargetLUFS  *float64 // where it should sit, -70..0; nil if not given
	ToleranceLU float64  // 0.1..20, default 1
	Priority    int      // 0..100, higher wins when sounds meet; default 0

	// Limits are thresholds of the audit by name, finite; the names are not
	// checked here. nil if there are none.
	Limits map[string]float64
}

// File is a file of a category.
type File struct {
	Path
	StandIn bool   // not final yet
	OneWord bool   // a callout of a single word, named by one_word
	Key     string // of the pattern that named it, for Sheet.Errorf
}

func (d *decoder) categories(root *table) []Category {
	v, ok := root.get("category")
	if !ok {
		return nil
	}
	t := d.asTable("category", v, "category.NAME")
	if t == nil {
		return nil
	}
	var out []Category
	owner := map[string]string{} // file → category
	for _, name := range d.doc.order[t.key] {
		key := t.sub(name)
		c := d.asTable(key, t.m[name], key)
		if c == nil {
			continue
		}
		if strings.TrimSpace(name) == "" || strings.ContainsFunc(name, unicode.IsControl) {
			d.fail(key, "a category needs a name of one line", "")
		}
		out = append(out, c.category(name, owner))
	}
	return out
}

func (t *table) category(name string, owner map[string]string) Category {
	c := Category{Name: name, Key: t.key}
	if !t.has("files") && !t.has("stand_in") {
		t.missing("files", `a list of files or patterns, for example ["`+exampleFolder(name)+`/*.wav"]`)
	}
	final := t.filesOf("files")
	standIn := t.filesOf("stand_in")
	provisional, alone := map[string]bool{}, map[string]bool{}
	for _, f := range standIn {
		provisional[f.Rel] = true
	}
	oneWord := t.oneWord(name)
	for _, f := range oneWord {
		alone[f.Rel] = true
	}
	seen := map[string]bool{}
	for _, f := range append(final, standIn...) {
		if seen[f.Rel] {
			continue
		}
		seen[f.Rel] = true
		// With two owners a file would have two targets and two priorities.
		if other, taken := owner[f.Rel]; taken {
			t.fail(f.Key, quote(f.Rel)+" belongs to category "+quote(other)+" already", "a file may be in one category only")
			continue
		}
		owner[f.Rel] = name
		f.StandIn, f.OneWord = provisional[f.Rel], alone[f.Rel]
		c.Files = append(c.Files, f)
	}
	for _, f := range oneWord {
		if !seen[f.Rel] {
			t.fail(f.Key, quote(f.Rel)+" is not among the files of this category", "name it in files or stand_in too")
		}
	}
	c.TargetLUFS = t.float("target_lufs", limits{-70, 0, "LUFS"})
	c.ToleranceLU = or(t.float("tolerance_lu", limits{0.1, 20, "LU"}), 1)
	c.Priority = or(t.whole("priority", limits{0, 100, ""}), 0)
	if l := t.child("limits"); l != nil {
		c.Limits = l.limits()
	}
	t.done()
	return c
}

// spoken is the category whose sounds are understood or not.
const spoken = "callout"

// oneWord reads which of the files hold a single word. A word alone has no
// sentence around it to be guessed from, so it is judged in a way of its own.
func (t *table) oneWord(category string) []File {
	if !t.has("one_word") {
		return nil
	}
	out := t.filesOf("one_word")
	if category != spoken {
		t.fail(t.sub("one_word"), "says which callouts are a single word, and these are not callouts", "write it under [category."+spoken+"]")
		return nil
	}
	return out
}

// filesOf reads a list of files and patterns.
func (t *table) filesOf(name string) []File {
	list, ok := t.list(name, "files or patterns")
	if !ok {
		return nil
	}
	if len(list) == 0 {
		t.fail(t.sub(name), "names no file", "leave it out or list files or patterns")
	}
	var out []File
	for i, v := range list {
		key := entryKey(t.sub(name), i+1)
		pattern, ok := v.(string)
		if !ok {
			t.fail(key, "must be a file or pattern in quotes, not "+describe(v), "")
			continue
		}
		paths, bad := t.files.glob(pattern)
		if bad != nil {
			t.refuse(key, pattern, bad)
		}
		for _, p := range paths {
			out = append(out, File{Path: p, Key: key})
		}
	}
	return out
}

// anyNumber leaves it to the audit what a limit may be.
var anyNumber = limits{lo: math.Inf(-1), hi: math.Inf(1)}

func (t *table) limits() map[string]float64 {
	out := map[string]float64{}
	for _, name := range t.doc.order[t.key] {
		if x, ok := t.checkNumber(t.sub(name), t.m[name], anyNumber); ok {
			out[name] = x
		}
	}
	return out
}

func exampleFolder(category string) string {
	if bareKey.MatchString(category) {
		return category
	}
	return "sounds"
}
