package audit

import (
	"bytes"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"tachbench/analysis/defect"
	"tachbench/samples/sheet"
)

// SheetName is the file that makes a folder a package.
const SheetName = "soundsheet.toml"

// Inputs say what to audit.
type Inputs struct {
	// Paths are files, folders (searched through, without hidden entries) or
	// a sheet (*.toml). A folder that holds a soundsheet.toml counts as that
	// sheet. A sheet stands for its whole package; there can be only one.
	Paths []string
	// Sheet judges Paths by this sheet without auditing the rest of its
	// package; "" for none.
	Sheet string
	// Category is that of sounds which no sheet places; "" for none.
	Category string
}

// entry is a sound to be measured.
type entry struct {
	path      string // to open and to show
	abs       string // to recognise it
	root      int    // which of the Paths it was found under
	name      string // below that root, with "/"
	size      int64
	category  string
	standIn   bool
	recording bool
	loop      bool
	opt       defect.Options
	machine   defect.Machine
}

// listing is what the inputs amount to.
type listing struct {
	sheet   *sheet.Sheet
	whole   bool     // the sheet's whole package is audited
	entries []entry  // in byte order of path, each file once
	roots   []string // folder of each root, "" for single files
	unused  []string // sounds in the sheet's folder that it never uses, relative
	bad     []Unreadable
	absent  []*sheet.Error // entries of the sheet without a file
}

// extensions by which a file counts as sound whatever is in it: a broken one
// must be found, and one of a kind that tachbench cannot read be named.
var extensions = map[string]bool{
	".wav": true, ".wave": true, ".bwf": true, ".rf64": true, ".flac": true, ".ogg": true, ".oga": true, ".mp3": true,
	".aif": true, ".aiff": true, ".opus": true, ".m4a": true, ".wma": true,
}

// list finds the sounds. The error is that of a sheet, or of unusable inputs.
func list(in Inputs) (*listing, error) {
	l := &listing{}
	paths, err := l.findSheet(in)
	if err != nil {
		return nil, err
	}
	seen := map[string]bool{}
	if l.whole {
		l.addPackage(in, seen)
	}
	for _, p := range paths {
		l.addPath(p, seen)
	}
	if err := l.place(in.Category); err != nil {
		return nil, err
	}
	slices.SortStableFunc(l.entries, func(a, b entry) int { return strings.Compare(a.path, b.path) })
	return l, nil
}

// findSheet loads the sheet, if one is named, and returns the other paths.
func (l *listing) findSheet(in Inputs) ([]string, error) {
	var rest []string
	file := ""
	for _, p := range in.Paths {
		as := sheetOf(p)
		switch {
		case as == "":
			rest = append(rest, p)
		case file != "" && !samePath(file, as):
			return nil, errors.New(as + ": a second sheet beside " + file + "; audit one package at a time")
		default:
			file = as
		}
	}
	switch {
	case in.Sheet != "" && file != "" && !samePath(file, in.Sheet):
		return nil, errors.New(file + ": a second sheet beside " + in.Sheet + "; audit one package at a time")
	case file != "":
		l.whole = true
	case in.Sheet != "":
		file, l.whole = in.Sheet, len(in.Paths) == 0
	}
	if file == "" {
		return rest, nil
	}
	s, absent, err := sheet.LoadLenient(file)
	if err != nil {
		return nil, err
	}
	l.sheet, l.absent = s, absent
	return rest, nil
}

// sheetOf returns the sheet that a path stands for, or "".
func sheetOf(path string) string {
	if strings.EqualFold(filepath.Ext(path), ".toml") {
		if st, err := os.Stat(path); err == nil && st.Mode().IsRegular() {
			return path
		}
		return ""
	}
	if st, err := os.Stat(filepath.Join(path, SheetName)); err == nil && st.Mode().IsRegular() {
		return filepath.Join(path, SheetName)
	}
	return ""
}

func samePath(a, b string) bool {
	sa, errA := os.Stat(a)
	sb, errB := os.Stat(b)
	return errA == nil && errB == nil && os.SameFile(sa, sb)
}

// addPackage adds the sounds of the sheet, and notes those in its folder that
// it never uses.
func (l *listing) addPackage(in Inputs, seen map[string]bool) {
	dir := filepath.Dir(l.sheet.File)
	root := l.newRoot(dir)
	for _, p := range l.sheet.Used() {
		if !l.isSound(p) {
			continue
		}
		l.add(filepath.Join(dir, filepath.FromSlash(p.Rel)), p.Rel, root, seen)
	}
	l.walk(dir, func(path, rel string) {
		if abs := absolute(path); !seen[abs] {
			l.unused = append(l.unused, rel)
		}
	})
}

// isSound tells the sheet's sounds from its curves and tables.
func (l *listing) isSound(p sheet.Path) bool {
	s := l.sheet
	if s.Listening != nil && s.Listening.ResponseFile != nil && *s.Listening.ResponseFile == p {
		return false
	}
	for _, scene := range s.Scenes {
		for _, q := range scene.Cues {
			if q.Curve != nil && *q.Curve == p {
				return false
			}
		}
	}
	return true
}

func (l *listing) addPath(p string, seen map[string]bool) {
	st, err := os.Stat(p)
	switch {
	case err != nil:
		l.refuse(p, err, errors.Is(err, fs.ErrNotExist))
	case st.IsDir():
		root := l.newRoot(p)
		l.walk(p, func(path, rel string) { l.add(path, rel, root, seen) })
	default:
		l.add(p, filepath.Base(p), l.newRoot(""), seen)
	}
}

func (l *listing) newRoot(dir string) int {
	l.roots = append(l.roots, dir)
	return len(l.roots) - 1
}

func (l *listing) add(path, rel string, root int, seen map[string]bool) {
	abs := absolute(path)
	if seen[abs] {
		return
	}
	seen[abs] = true
	e := entry{path: path, abs: abs, root: root, name: rel}
	if st, err := os.Stat(path); err == nil {
		e.size = st.Size()
	}
	l.entries = append(l.entries, e)
}

func absolute(path string) string {
	if abs, err := filepath.Abs(path); err == nil {
		return abs
	}
	return filepath.Clean(path)
}

// walk calls found for every sound below dir, in byte order within each
// folder. Symbolic links to files are followed, those to folders are not.
func (l *listing) walk(dir string, found func(path, rel string)) {
	_ = filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		hidden := path != dir && d != nil && strings.HasPrefix(d.Name(), ".")
		switch {
		case hidden && d.IsDir():
			return fs.SkipDir
		case hidden:
			return nil
		case err != nil:
			l.refuse(path, err, false)
			return nil
		case d.IsDir():
			return nil
		}
		if st, err := os.Stat(path); err != nil || !st.Mode().IsRegular() {
			// A link to nothing is a fault only if it is called a sound.
			if err != nil && extensions[strings.ToLower(filepath.Ext(path))] {
				l.refuse(path, err, false)
			}
			return nil
		}
		if looksLikeSound(path) {
			rel, _ := filepath.Rel(dir, path)
			found(path, filepath.ToSlash(rel))
		}
		return nil
	})
}

// looksLikeSound decides by the extension, else by the first bytes.
func looksLikeSound(path string) bool {
	if extensions[strings.ToLower(filepath.Ext(path))] {
		return true
	}
	f, err := os.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	head := make([]byte, 48)
	n, _ := io.ReadFull(f, head)
	return soundBytes(head[:n])
}

// soundBytes knows RIFF WAVE and its kin, FLAC, and Ogg whose first packet
// (behind the page header of 28 bytes) is audio.
func soundBytes(head []byte) bool {
	if len(head) < 12 {
		return false
	}
	switch string(head[:4]) {
	case "RIFF", "RF64", "BW64", "RIFX":
		return string(head[8:12]) == "WAVE"
	case "fLaC":
		return true
	case "OggS":
		return bytes.Contains(head, []byte("\x01vorbis")) || bytes.Contains(head, []byte("OpusHead")) || bytes.Contains(head, []byte("FLAC"))
	}
	return false
}

func (l *listing) refuse(path string, err error, missing bool) {
	l.bad = append(l.bad, newUnreadable(path, "", err, missing))
}

// newUnreadable takes the path off the front of an error.
func newUnreadable(path, category string, err error, missing bool) Unreadable {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		err = pe.Err
	}
	if missing {
		err = fs.ErrNotExist
	}
	if text, cut := strings.CutPrefix(err.Error(), path+": "); cut {
		err = trimmed{text, err}
	}
	return Unreadable{Path: path, Category: category, Err: err, Finding: defect.Unreadable(err), Missing: missing}
}

// trimmed is an error without the path in front.
type trimmed struct {
	text string
	err  error
}

func (t trimmed) Error() string { return t.text }
func (t trimmed) Unwrap() error { return t.err }
