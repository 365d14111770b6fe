package sheet

import (
	"errors"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"syscall"

	"github.com/bmatcuk/doublestar/v4"
)

// Path is a file of the package that exists.
type Path struct {
	Rel string // relative to the sheet, forward slashes: for messages and reports
	Abs string // for use
}

// fault says what is wrong with a path.
type fault struct {
	text, hint string
	absent     bool // rightly written, but no file goes with it
}

func wrong(text, hint string) *fault { return &fault{text: text, hint: hint} }

// folder is the sheet's folder, which no path may leave.
type folder struct {
	abs  string
	real string // abs without symbolic links
	fsys fs.FS
}

func newFolder(abs string) (*folder, error) {
	real, err := filepath.EvalSymlinks(abs)
	if err != nil {
		return nil, err
	}
	return &folder{abs: abs, real: real, fsys: os.DirFS(abs)}, nil
}

var (
	driveLetter = regexp.MustCompile(`^[A-Za-z]:`)
	// dotDot finds .. between slashes and the braces and commas of {a,b}.
	dotDot = regexp.MustCompile(`(^|[/{,])\.\.($|[/},])`)
)

// maxPath bounds a path or pattern; patterns with many {a,b} grow when
// expanded.
const maxPath = 512

// clean checks the writing of a path or pattern and returns it without
// detours.
func clean(p string) (string, *fault) {
	switch {
	case p == "":
		return "", wrong("must not be empty", "name a file below the sheet's folder")
	case len(p) > maxPath:
		return "", wrong("is longer than "+number(maxPath)+" bytes", "")
	case strings.ContainsRune(p, 0):
		return "", wrong("must not contain a zero byte", "")
	case path.IsAbs(p) || driveLetter.MatchString(p) || strings.HasPrefix(p, `\`):
		return "", wrong(quote(p)+" is absolute", "write it relative to the sheet's folder")
	case strings.Contains(p, `\`):
		return "", wrong(quote(p)+" has backslashes", "use forward slashes: "+quote(strings.ReplaceAll(p, `\`, "/")))
	}
	c := path.Clean(p)
	switch {
	case c == ".." || strings.HasPrefix(c, "../"):
		return "", wrong(quote(p)+" leaves the sheet's folder", "keep every file below it")
	case hasMeta(p) && dotDot.MatchString(p):
		return "", wrong(quote(p)+" has .. in a pattern", "write the folder itself")
	case !filepath.IsLocal(filepath.FromSlash(c)):
		return "", wrong(quote(p)+" is not a name for a file here", "")
	case c == "." || strings.HasSuffix(p, "/"):
		return "", isFolder(p)
	}
	return c, nil
}

func hasMeta(p string) bool { return strings.ContainsAny(p, "*?[{") }

func isFolder(p string) *fault {
	return wrong(quote(p)+" is a folder", "name a file in it, or "+quote(path.Join(p, "*.wav"))+" in a list of files")
}

// file checks a path without patterns.
func (f *folder) file(p string) (Path, *fault) {
	rel, bad := clean(p)
	if bad != nil {
		return Path{}, bad
	}
	return f.existing(rel)
}

// existing checks that a cleaned path names a regular file in the folder.
func (f *folder) existing(rel string) (Path, *fault) {
	abs := filepath.Join(f.abs, filepath.FromSlash(rel))
	real, err := filepath.EvalSymlinks(abs)
	switch {
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, syscall.ENOTDIR):
		return Path{}, f.notThere(rel)
	case err != nil:
		return Path{}, wrong(quote(rel)+" cannot be read: "+cause(err).Error(), "")
	case !f.holds(real):
		return Path{}, wrong(quote(rel)+" leads out of the sheet's folder through a symbolic link", "copy the file into the folder")
	}
	info, err := os.Stat(real)
	switch {
	case err != nil:
		return Path{}, wrong(quote(rel)+" cannot be read: "+cause(err).Error(), "")
	case info.IsDir():
		return Path{}, isFolder(rel)
	case !info.Mode().IsRegular():
		return Path{}, wrong(quote(rel)+" is not a regular file", "")
	}
	return Path{Rel: rel, Abs: abs}, nil
}

// holds reports whether a path without symbolic links lies in the folder.
func (f *folder) holds(real string) bool {
	rel, err := filepath.Rel(f.real, real)
	return err == nil && filepath.IsLocal(rel)
}

// notThere words a missing file with the nearest name that is there.
func (f *folder) notThere(rel string) *fault {
	bad := &fault{text: quote(rel) + " does not exist", absent: true}
	if info, err := os.Lstat(filepath.Join(f.abs, filepath.FromSlash(rel))); err == nil && info.Mode()&fs.ModeSymlink != 0 {
		bad.text = quote(rel) + " is a symbolic link to nothing"
		return bad
	}
	dir, name := path.Split(rel)
	if names, ok := f.names(path.Clean(dir)); ok {
		if c := closest(name, names); c != "" {
			bad.hint = "did you mean " + quote(path.Join(dir, c)) + "?"
		}
	} else {
		bad.hint = "there is no folder " + quote(path.Clean(dir))
	}
	return bad
}

// names lists the files of a folder inside the package.
func (f *folder) names(dir string) ([]string, bool) {
	real, err := filepath.EvalSymlinks(filepath.Join(f.abs, filepath.FromSlash(dir)))
	if err != nil || !f.holds(real) {
		return nil, false
	}
	entries, err := os.ReadDir(real)
	if err != nil {
		return nil, false
	}
	var out []string
	for _, e := range entries {
		if !e.IsDir() {
			out = append(out, e.Name())
		}
	}
	return out, true
}

// glob returns the files that a path or pattern names, at least one, in byte
// order. Files come with a fault only if that is an absent one: a link to
// nothing beside them.
func (f *folder) glob(pattern string) ([]Path, *fault) {
	rel, bad := clean(pattern)
	if bad != nil {
		return nil, bad
	}
	if p, bad := f.existing(rel); bad == nil {
		return []Path{p}, nil
	} else if !hasMeta(rel) {
		return nil, bad
	}
	if !doublestar.ValidatePattern(rel) {
		return nil, wrong(quote(pattern)+" is not a pattern", "check its brackets and braces")
	}
	base, _ := doublestar.SplitPattern(rel)
	if real, err := filepath.EvalSymlinks(filepath.Join(f.abs, filepath.FromSlash(base))); err == nil && !f.holds(real) {
		return nil, wrong(quote(base)+" leads out of the sheet's folder through a symbolic link", "copy the files into the folder")
	}
	found, err := doublestar.Glob(f.fsys, rel, doublestar.WithFilesOnly(), doublestar.WithNoFollow(),
		doublestar.WithNoHidden(), doublestar.WithFailOnIOErrors())
	if err != nil {
		return nil, wrong(quote(pattern)+" cannot be looked up: "+cause(err).Error(), "")
	}
	slices.Sort(found)
	var out []Path
	var absent *fault
	for _, rel := range slices.Compact(found) {
		// The lookup does not follow links, so that one to a folder looks
		// like a file to it.
		if info, err := fs.Stat(f.fsys, rel); err == nil && info.IsDir() {
			continue
		}
		p, bad := f.existing(rel)
		switch {
		case bad == nil:
			out = append(out, p)
		case !bad.absent:
			return nil, bad
		case absent == nil:
			absent = bad
		}
	}
	if len(out) == 0 && absent == nil {
		return nil, f.noMatch(pattern, base)
	}
	return out, absent
}

// noMatch words a pattern that matches nothing with what is there instead.
func (f *folder) noMatch(pattern, base string) *fault {
	bad := &fault{text: quote(pattern) + " matches no file", absent: true}
	where := "the folder " + quote(base)
	if base == "." {
		where = "the sheet's folder"
	}
	switch names, ok := f.names(base); {
	case !ok:
		bad.hint = "there is no folder " + quote(base)
	case len(names) == 0:
		bad.hint = where + " holds no files"
	default:
		bad.hint = where + " holds " + quote(names[0])
		if len(names) > 1 {
			bad.hint += " and " + number(float64(len(names)-1)) + " more"
		}
	}
	return bad
}

// file reads a key that names one file, nil if it is missing or wrong.
func (t *table) file(name string) *Path {
	v, ok := t.get(name)
	if !ok {
		return nil
	}
	s, ok := v.(string)
	if !ok {
		t.fail(t.sub(name), "must be a file in quotes, not "+describe(v), "")
		return nil
	}
	p, bad := t.files.file(s)
	if bad != nil {
		if hasMeta(s) && strings.HasSuffix(bad.text, "does not exist") {
			bad.hint, bad.absent = "one file is wanted here, not a pattern", false
		}
		t.refuse(t.sub(name), s, bad)
		return nil
	}
	return &p
}

// needFile is file for a key that must be there.
func (t *table) needFile(name, what string) *Path {
	if !t.has(name) {
		t.missing(name, what)
	}
	return t.file(name)
}
