package report

import (
	"fmt"
	"io"
	"math"
	"strings"
	"unicode"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"
)

// column of a table. Its unit stands under its name.
type column struct{ name, unit string }

// grid collects rows of text. Every cell is formatted before it comes here,
// because a table library must not decide on decimals.
type grid struct {
	w table.Writer
}

// newTable makes a table whose first column is aligned left if it names
// files or measures, and all others right.
func newTable(cols []column) grid {
	w := table.NewWriter()
	st := table.StyleDefault
	st.Options = table.Options{SeparateHeader: true, SeparateColumns: true}
	st.Box.MiddleVertical, st.Box.MiddleSeparator, st.Box.MiddleHorizontal = "", "-", "-"
	st.Box.PaddingLeft, st.Box.PaddingRight = "", "  "
	st.Format.Header = text.FormatDefault
	w.SetStyle(st)
	head := table.Row{}
	var conf []table.ColumnConfig
	for i, c := range cols {
		name := c.name
		if c.unit != "" {
			name += "\n" + c.unit
		}
		head = append(head, name)
		align := text.AlignRight
		if i == 0 && (c.name == "file" || c.name == "measure") {
			align = text.AlignLeft
		}
		conf = append(conf, table.ColumnConfig{Number: i + 1, Align: align, AlignHeader: align})
	}
	w.AppendHeader(head)
	w.SetColumnConfigs(conf)
	return grid{w}
}

func (g grid) row(cells ...string) {
	r := table.Row{}
	for _, c := range cells {
		r = append(r, c)
	}
	g.w.AppendRow(r)
}

func (g grid) write(w io.Writer) error {
	lines := strings.Split(g.w.Render(), "\n")
	width := 0
	for i, line := range lines {
		lines[i] = strings.TrimRight(line, " ")
		if strings.Trim(line, "-") != "" {
			width = max(width, text.StringWidthWithoutEscSequences(lines[i]))
		}
	}
	for _, line := range lines {
		if strings.Trim(line, "-") == "" { // the rule, which also counts the padding
			line = strings.Repeat("-", width)
		}
		if _, err := fmt.Fprintln(w, line); err != nil {
			return err
		}
	}
	return nil
}

// fixed writes a number with fixed decimals, a dash where there is none.
func fixed(v float64, decimals int) string {
	if math.IsNaN(v) {
		return "–"
	}
	return fmt.Sprintf("%.*f", decimals, v)
}

// shorten makes s printable and at most width cells wide, leaving out its
// middle: the end of a path tells more than the start.
func shorten(s string, width int) string {
	s = Printable(s)
	if text.StringWidthWithoutEscSequences(s) <= width {
		return s
	}
	r := []rune(s)
	head := width / 3
	for from := head + 1; from < len(r); from++ {
		short := string(r[:head]) + "…" + string(r[from:])
		if text.StringWidthWithoutEscSequences(short) <= width {
			return short
		}
	}
	return text.Trim(s, width)
}

// Printable replaces what could move the cursor or break a line, such as a
// file name may hold, by question marks.
func Printable(s string) string {
	return strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) || r == unicode.ReplacementChar {
			return '?'
		}
		return r
	}, s)
}

// Wrap breaks a sentence into lines of at most width letters. A longer word
// keeps its line.
func Wrap(s string, width int) string {
	var b strings.Builder
	n := 0
	for _, word := range strings.Fields(s) {
		word = Printable(word)
		w := text.StringWidthWithoutEscSequences(word)
		switch {
		case n == 0:
		case n+1+w > width:
			b.WriteByte('\n')
			n = 0
		default:
			b.WriteByte(' ')
			n++
		}
		b.WriteString(word)
		n += w
	}
	return b.String()
}
