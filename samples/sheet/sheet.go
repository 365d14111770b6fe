package sheet

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	toml "github.com/pelletier/go-toml/v2"

	"tachbench/samples/crank"
)

// Sheet is a checked sound sheet. It does not change once read.
type Sheet struct {
	File string // as given to Load or Parse
	Dir  string // absolute path of the folder that paths are relative to

	Title        string // the folder's name if the sheet gives none
	SampleRateHz int    // 8000..192000, the rate the machine plays; default 48000, with a warning
	BitDepth     int    // 16 or 24; default 16, with a warning

	Engine     *Engine    // nil if the sheet has none
	Categories []Category // in the order of the sheet
	Listening  *Listening // nil if the sheet has none
	RevBands   []RevBand  // from idle upwards, without overlap
	Scenes     []Scene    // in the order of the sheet, with different names

	// Warnings are things that are legal but look like a slip, by line.
	Warnings []*Error

	doc *document
}

// maxSheetBytes is a thousand times a long sheet: whoever names a recording
// instead of the sheet gets a word about it at once.
const maxSheetBytes = 1 << 20

// Load reads and checks a sheet. The error is an Errors; the sheet is nil
// then. A file that cannot be read is an Errors of one, with Line 0 and the
// cause in Err.
func Load(path string) (*Sheet, error) {
	s, _, err := load(path, false)
	return s, err
}

// LoadLenient is Load for those who can do with a part of the package. Entries
// that are right but for a file that is not there, or a pattern that matches
// nothing, are left out of the sheet and returned beside it, in the order of
// Errors, each with its Path. A recording or a cue without its file is left
// out as a whole, a category may be left without files. Anything else that is
// wrong is an error as it is for Load, which then tells of the absent files
// too.
func LoadLenient(path string) (*Sheet, []*Error, error) {
	return load(path, true)
}

func load(path string, lenient bool) (*Sheet, []*Error, error) {
	data, err := readAtMost(path, maxSheetBytes)
	if err != nil {
		return nil, nil, Errors{{File: path, Text: err.Error(), Err: err}}
	}
	return parse(path, data, filepath.Dir(path), lenient)
}

// Parse checks the text of a sheet. name is used in messages; paths are
// relative to the folder dir, which must exist. The error is as for Load.
func Parse(name string, data []byte, dir string) (*Sheet, error) {
	s, _, err := parse(name, data, dir, false)
	return s, err
}

func parse(name string, data []byte, dir string, lenient bool) (*Sheet, []*Error, error) {
	whole := func(text string, err error) (*Sheet, []*Error, error) {
		return nil, nil, Errors{{File: name, Text: text, Err: err}}
	}
	if len(data) > maxSheetBytes {
		return whole(tooLarge(maxSheetBytes), nil)
	}
	abs, err := filepath.Abs(dir)
	if err != nil {
		return whole("its folder cannot be told: "+err.Error(), err)
	}
	files, err := newFolder(abs)
	if err != nil {
		return whole("its folder cannot be read: "+cause(err).Error(), err)
	}

	// Some editors put a byte order mark in front; it has no width.
	data = slices.Clone(trimMark(data))
	if at := utf8Fault(data); at >= 0 {
		line, col := lineColOf(data, at)
		return nil, nil, Errors{{File: name, Line: line, Col: col, Text: "this byte is not UTF-8 text", Hint: "save the sheet as UTF-8"}}
	}
	var root map[string]any
	if err := toml.Unmarshal(data, &root); err != nil {
		return nil, nil, Errors{syntaxError(name, data, err)}
	}
	d := &decoder{file: name, doc: newDocument(data), files: files, lenient: lenient}
	s := &Sheet{File: name, Dir: abs, doc: d.doc}
	d.sheet(s, root)
	sortErrors(name, d.absent)
	if len(d.errs) > 0 {
		all := append(d.errs, d.absent...)
		sortErrors(name, all)
		return nil, nil, Errors(all[:min(len(all), maxProblems)])
	}
	sortErrors(name, d.warns)
	s.Warnings = d.warns
	return s, d.absent, nil
}

func (d *decoder) sheet(s *Sheet, root map[string]any) {
	t := &table{decoder: d, m: root}
	s.Title = t.text("title")
	if s.Title == "" {
		s.Title = filepath.Base(s.Dir)
	}
	if !t.has("sample_rate") {
		d.warn("sample_rate", "missing, 48000 Hz is assumed", "")
	}
	s.SampleRateHz = or(t.whole("sample_rate", limits{8000, 192000, "Hz"}), 48000)
	if !t.has("bit_depth") {
		d.warn("bit_depth", "missing, 16 bits are assumed", "")
	}
	s.BitDepth = or(t.choice("bit_depth", 16, 24), 16)
	s.Engine = d.engine(t.child("engine"))
	s.Categories = d.categories(t)
	s.Listening = d.listening(t.child("listening"))
	s.RevBands = d.revBands(t.children("rev_band"), s.Engine)
	s.Scenes = d.scenes(t.children("scene"), s.Categories, t.has("engine"))
	t.done()
}

// Has reports whether the sheet itself gives a key (see the package comment
// for how keys are written).
func (s *Sheet) Has(key string) bool {
	_, ok := s.doc.at[key]
	return ok
}

// Errorf returns a problem placed at a key of the sheet, or at the table
// around it if the sheet does not have the key.
func (s *Sheet) Errorf(key, format string, args ...any) *Error {
	line, col := s.doc.place(key)
	return &Error{File: s.File, Line: line, Col: col, Key: key, Text: fmt.Sprintf(format, args...)}
}

// Layout returns how the engine fires, the zero Layout if there is no engine.
func (s *Sheet) Layout() crank.Layout {
	if s.Engine == nil {
		return crank.Layout{}
	}
	return s.Engine.Layout()
}

// Category returns the category with a name, nil if there is none.
func (s *Sheet) Category(name string) *Category {
	for i := range s.Categories {
		if s.Categories[i].Name == name {
			return &s.Categories[i]
		}
	}
	return nil
}

// Files returns the files of a category in order, nil if there is none of
// that name.
func (s *Sheet) Files(category string) []File {
	if c := s.Category(category); c != nil {
		return c.Files
	}
	return nil
}

// Used returns every file the sheet names, once, in byte order of Rel.
func (s *Sheet) Used() []Path {
	seen := map[Path]bool{}
	if s.Engine != nil {
		for _, r := range s.Engine.Recordings {
			seen[r.File] = true
		}
	}
	for _, c := range s.Categories {
		for _, f := range c.Files {
			seen[f.Path] = true
		}
	}
	if s.Listening != nil && s.Listening.ResponseFile != nil {
		seen[*s.Listening.ResponseFile] = true
	}
	for _, scene := range s.Scenes {
		for _, q := range scene.Cues {
			for _, p := range []*Path{q.Sound, q.Curve} {
				if p != nil {
					seen[*p] = true
				}
			}
		}
	}
	out := make([]Path, 0, len(seen))
	for p := range seen {
		out = append(out, p)
	}
	slices.SortFunc(out, func(a, b Path) int { return strings.Compare(a.Rel, b.Rel) })
	return out
}

// syntaxError words an error of the TOML decoder.
func syntaxError(name string, data []byte, err error) *Error {
	e := &Error{File: name, Line: 1, Col: 1, Text: strings.TrimPrefix(err.Error(), "toml: ")}
	var de *toml.DecodeError
	if !errors.As(err, &de) {
		return e
	}
	line, col := de.Position()
	start := 0
	for range line - 1 {
		start += bytes.IndexByte(data[start:], '\n') + 1
	}
	e.Line, e.Col = lineColOf(data, start+col-1)
	for _, part := range de.Key() {
		e.Key = JoinKey(e.Key, part)
	}
	if strings.Contains(e.Text, "escape") {
		e.Hint = "paths are written with forward slashes"
	}
	return e
}

// readAtMost reads a regular file of at most limit bytes. Its errors do not
// name the file.
func readAtMost(path string, limit int64) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, unreadable(err)
	}
	defer f.Close()
	info, err := f.Stat()
	switch {
	case err != nil:
		return nil, unreadable(err)
	case info.IsDir():
		return nil, errors.New("is a folder, not a file")
	}
	data, err := io.ReadAll(io.LimitReader(f, limit+1))
	switch {
	case err != nil:
		return nil, unreadable(err)
	case int64(len(data)) > limit:
		return nil, errors.New(tooLarge(limit))
	}
	return data, nil
}

func tooLarge(limit int64) string {
	return fmt.Sprintf("is larger than %d bytes and surely no text of this kind", limit)
}

func unreadable(err error) error { return fmt.Errorf("cannot be read: %w", cause(err)) }

// cause strips operation and path from an error of package os, since the
// message names the file already.
func cause(err error) error {
	var p *os.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}

func trimMark(data []byte) []byte {
	if len(data) >= 3 && data[0] == 0xEF && data[1] == 0xBB && data[2] == 0xBF {
		return data[3:]
	}
	return data
}
