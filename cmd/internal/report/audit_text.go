package report

import (
	"bufio"
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"github.com/jedib0t/go-pretty/v6/text"

	"tachbench/analysis/defect"
	"tachbench/analysis/loudness"
	"tachbench/mixplan/audit"
)

// AuditTextOptions say how much is printed.
type AuditTextOptions struct {
	Quiet bool // the last line only
	All   bool // every sound and every place
}

// How much of a large audit is printed, and how wide.
const (
	auditWidth      = 100
	auditRows       = 40 // sounds in the table
	auditPlaces     = 6  // places listed of each rule
	auditNameWidth  = 34
	auditRulesWidth = 30 // room for the longest rule
)

// AuditText writes an audit for people: the sounds, worst first; what was
// found, rule by rule; and one line that sums up.
func AuditText(w io.Writer, r *audit.Result, opt AuditTextOptions) error {
	b := bufio.NewWriter(w)
	if !opt.Quiet {
		below := CommonFolder(r)
		if below != "" {
			fmt.Fprintln(b, Wrap("All below "+Printable(below), auditWidth)+"\n")
		}
		if err := auditTable(b, r, below, opt); err != nil {
			return err
		}
		auditRulesFound(b, r, below, opt)
	}
	fmt.Fprintln(b, Wrap(AuditSummaryLine(r), auditWidth))
	return b.Flush()
}

// AuditSummaryLine counts in words.
func AuditSummaryLine(r *audit.Result) string {
	errs, warnings, notes := r.Count()
	line := counted(len(r.Sounds), "sound") + ": "
	if errs+warnings+notes == 0 {
		return line + "nothing found."
	}
	line += counted(errs, "error") + ", " + counted(warnings, "warning") + ", " + counted(notes, "note") + "."
	if n := len(r.Unreadable); n > 0 {
		line += " " + counted(n, "file") + " could not be read."
	}
	return line
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// SeverityWord is how a severity is shown: errors and warnings are louder.
func SeverityWord(s defect.Severity) string {
	if s == defect.Note {
		return "note"
	}
	return strings.ToUpper(s.String())
}

// WorstFirst returns the sounds by their worst severity, the number of
// findings that severe, and path.
func WorstFirst(sounds []audit.Sound) []*audit.Sound {
	out := make([]*audit.Sound, len(sounds))
	for i := range sounds {
		out[i] = &sounds[i]
	}
	weight := func(s *audit.Sound) (n [3]int) {
		for _, f := range s.Findings {
			n[f.Severity]++
		}
		return n
	}
	slices.SortStableFunc(out, func(a, b *audit.Sound) int {
		x, y := weight(a), weight(b)
		return cmp.Or(cmp.Compare(y[2], x[2]), cmp.Compare(y[1], x[1]), cmp.Compare(y[0], x[0]), strings.Compare(a.Path, b.Path))
	})
	return out
}

func auditTable(w io.Writer, r *audit.Result, below string, opt AuditTextOptions) error {
	if len(r.Sounds) == 0 {
		return nil
	}
	sounds := WorstFirst(r.Sounds)
	shown := len(sounds)
	if !opt.All && shown > auditRows {
		shown = auditRows
	}
	names, found := make([]string, shown), make([]string, shown)
	for i, s := range sounds[:shown] {
		names[i] = strings.TrimPrefix(s.Path, below)
	}
	nameWidth := min(max(widest(names), 8), auditNameWidth)
	room := max(auditWidth-auditFixedWidth-nameWidth, auditRulesWidth)
	for i, s := range sounds[:shown] {
		found[i] = foundShort(s, room)
	}
	nameWidth = min(nameWidth, auditWidth-auditFixedWidth-widest(found))
	for i := range names {
		names[i] = shorten(names[i], nameWidth)
	}
	found = padded(found)
	g := newTable([]column{{"file", ""}, {"length", "s"}, {"loudness", "LUFS"}, {"range", "LU"}, {"peak", "dBTP"}, {text.Pad("findings", widest(found), ' '), ""}})
	for i, s := range sounds[:shown] {
		m := measuresOf(s)
		g.row(names[i], fixed(s.DurationS(), 2),
			orWhy(m.integrated, s.Levels.IntegratedLUFS), orWhy(m.rangeLU, s.Levels.RangeLU),
			orSilent(m.truePeak), found[i])
	}
	if err := g.write(w); err != nil {
		return err
	}
	if rest := sounds[shown:]; len(rest) > 0 {
		with := 0
		for _, s := range rest {
			if len(s.Findings) > 0 {
				with++
			}
		}
		say := "without findings"
		if with > 0 {
			say = fmt.Sprintf("%d of them with findings", with)
		}
		fmt.Fprintf(w, "and %s more, %s; --all lists them\n", counted(len(rest), "sound"), say)
	}
	fmt.Fprintln(w)
	return nil
}

// auditFixedWidth is what the numbers of the table take, with their gaps.
const auditFixedWidth = 2 + 8 + 2 + 8 + 2 + 6 + 2 + 6 + 2

// foundShort names the worst findings of a sound in at most width letters, as
// far as the longest rule's id allows.
func foundShort(s *audit.Sound, width int) string {
	worst, ok := s.Worst()
	if !ok {
		return "none"
	}
	rules := rulesOf(s)
	line := SeverityWord(worst) + " " + rules[0]
	for i, rule := range rules[1:] {
		more := ""
		if left := len(rules) - i - 2; left > 0 {
			more = fmt.Sprintf(" +%d", left)
		}
		if len(line)+2+len(rule)+len(more) > width {
			return line + fmt.Sprintf(" +%d", len(rules)-i-1)
		}
		line += ", " + rule
	}
	return line
}

// rulesOf returns the rules that found something, worst first, each once.
func rulesOf(s *audit.Sound) []string {
	var rules []string
	for _, f := range s.Findings {
		if !slices.Contains(rules, f.Rule) {
			rules = append(rules, f.Rule)
		}
	}
	return rules
}

// FoundIDs lists the rules that found something in a sound, worst first.
func FoundIDs(s *audit.Sound) string { return strings.Join(rulesOf(s), ", ") }

// orWhy writes a level, or in a word why there is none.
func orWhy(v float64, r loudness.Reading) string {
	switch {
	case !math.IsNaN(v):
		return oneDecimal(v)
	case r.Absent == loudness.ReasonTooShortForBlock, r.Absent == loudness.ReasonTooShortForShortTerm:
		return "short"
	case r.Absent == loudness.ReasonTooQuiet:
		return "quiet"
	case r.Absent == loudness.ReasonSilent:
		return "silent"
	}
	return "–"
}

func orSilent(v float64) string {
	if math.IsNaN(v) {
		return "silent"
	}
	return oneDecimal(v)
}

// oneDecimal writes a level without a negative zero.
func oneDecimal(v float64) string { return fixed(float64(Round(v, 1)), 1) }

func widest(cells []string) int {
	w := 0
	for _, c := range cells {
		w = max(w, text.StringWidthWithoutEscSequences(c))
	}
	return w
}

// padded makes cells equally wide, so that a column aligned right reads as
// aligned left.
func padded(cells []string) []string {
	w := max(widest(cells), len("findings"))
	out := make([]string, len(cells))
	for i, c := range cells {
		out[i] = text.Pad(c, w, ' ')
	}
	return out
}

// auditRulesFound writes what was found, rule by rule, worst first.
func auditRulesFound(w io.Writer, r *audit.Result, below string, opt AuditTextOptions) {
	for _, g := range ByRule(r) {
		fmt.Fprintf(w, "%s %s – %s (%s)\n", SeverityWord(g.Rule.Severity), g.Rule.ID, g.Rule.What, g.About())
		fmt.Fprintln(w, indent(Wrap(g.Rule.Why+" "+g.Rule.Do, auditWidth-2), "  "))
		for i, p := range g.Places {
			if i == auditPlaces && !opt.All && len(g.Places) > auditPlaces+1 {
				fmt.Fprintf(w, "  - and %d more; --all lists them\n", len(g.Places)-i)
				break
			}
			p.Path = strings.TrimPrefix(p.Path, below)
			line := Wrap(p.Where()+": "+p.What, auditWidth-4)
			fmt.Fprintln(w, "  - "+strings.TrimPrefix(indent(line, "    "), "    "))
		}
		fmt.Fprintln(w)
	}
}

func indent(s, by string) string {
	return by + strings.ReplaceAll(s, "\n", "\n"+by)
}
