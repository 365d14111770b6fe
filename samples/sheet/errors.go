package sheet

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"unicode"
)

// Error is one problem in a sheet or in a file it names.
type Error struct {
	File      string // as the sheet was named by the caller
	Line, Col int    // from 1, Col in characters; Line 0: the file as a whole
	Key       string // see the package comment; empty for slips in the TOML itself
	Text      string // what is wrong
	Hint      string // what would be right, if Text does not say it already
	Err       error  // the cause, if the operating system gave one
	Path      string // the path or pattern as written, only in what LoadLenient sets aside
}

// Error returns one line: FILE:LINE:COL: KEY: TEXT; HINT.
func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(e.File)
	if e.Line > 0 {
		fmt.Fprintf(&b, ":%d:%d", e.Line, e.Col)
	}
	if e.Key != "" {
		b.WriteString(": " + e.Key)
	}
	b.WriteString(": " + e.Text)
	if e.Hint != "" {
		b.WriteString("; " + e.Hint)
	}
	return oneLine(b.String())
}

// Unwrap returns Err.
func (e *Error) Unwrap() error { return e.Err }

// Errors are all the problems of a sheet, those in the sheet itself first,
// then by file, line and column. There is at least one and at most about a
// hundred.
type Errors []*Error

// Error returns one line per problem.
func (e Errors) Error() string {
	lines := make([]string, len(e))
	for i, one := range e {
		lines[i] = one.Error()
	}
	return strings.Join(lines, "\n")
}

// Summary returns the first problem and the number of others, on one line.
func (e Errors) Summary() string {
	switch len(e) {
	case 1:
		return e[0].Error()
	case 2:
		return e[0].Error() + " (and 1 more problem)"
	}
	return fmt.Sprintf("%s (and %d more problems)", e[0].Error(), len(e)-1)
}

// Unwrap gives the problems to errors.Is and errors.As.
func (e Errors) Unwrap() []error {
	out := make([]error, len(e))
	for i, one := range e {
		out[i] = one
	}
	return out
}

// sortErrors puts the problems in the order that Errors promises.
func sortErrors(sheetFile string, e []*Error) {
	slices.SortStableFunc(e, func(a, b *Error) int {
		other := func(e *Error) int {
			if e.File == sheetFile {
				return 0
			}
			return 1
		}
		return cmp.Or(
			cmp.Compare(other(a), other(b)),
			cmp.Compare(a.File, b.File),
			cmp.Compare(a.Line, b.Line),
			cmp.Compare(a.Col, b.Col))
	})
}

// oneLine shows control characters instead of obeying them.
func oneLine(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || r == '\u2028' || r == '\u2029' {
			return '\uFFFD'
		}
		return r
	}, s)
}
