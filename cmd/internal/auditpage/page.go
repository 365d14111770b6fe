package auditpage

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"path/filepath"
	"strings"

	"tachbench/analysis/defect"
	"tachbench/analysis/loudness"
	"tachbench/cmd/internal/report"
	"tachbench/mixplan/audit"
)

// detailLimit is how many sounds get charts of their own. A package beyond it
// shows those with findings, worst first, up to this number.
const detailLimit = 200

//go:embed page.tmpl
var pageText string

//go:embed page.css
var pageCSS string

var pageTemplate = template.Must(template.New("page").Funcs(template.FuncMap{
	"bottom":   func(s stroke) float64 { return s.Y + s.H },
	"thousand": func(percent float64) float64 { return round1(fieldW / 100 * percent) },
	"double":   func(percent float64) float64 { return round1(fieldH / 100 * percent) },
}).Parse(pageText))

// page is what the template shows.
type page struct {
	CSS        template.CSS
	Title      string
	Summary    string
	Below      string // folder of all paths, which are shown without it
	Tally      []tallyRow
	Strip      strip
	Rules      []ruleBlock
	Rows       []row
	Details    []detail
	LeftOut    string // why not every sound has charts, "" if all have
	Unreadable []unreadable
}

type unreadable struct{ Path, Err string }

type tallyRow struct {
	Mark  mark
	Count int
}

// mark is a severity as shape, word and class.
type mark struct{ Shape, Word, Class string }

func markOf(s defect.Severity) mark {
	switch s {
	case defect.Error:
		return mark{"◆", "error", "error"}
	case defect.Warning:
		return mark{"▲", "warning", "warning"}
	}
	return mark{"○", "note", "note"}
}

type ruleBlock struct {
	Mark          mark
	ID, What      string
	Why, Do       string
	About         string
	Places        []place
	MorePlaces    int
	Share         float64 // of the longest bar, percent
	CountOfPlaces int
}

type place struct {
	Anchor string // of the sound's charts, "" if it has none
	Path   string
	At     string
	What   string
}

// placesShown is how many places of a rule are listed; the table of all
// sounds and the JSON document have the rest.
const placesShown = 100

// row is one sound in the table of all.
type row struct {
	Anchor, Path, Category                                  string
	Length, Integrated, Range, Momentary, ShortTerm, TruePk string
	Worst                                                   *mark
	Found                                                   string
}

// Write writes the page. Sounds without Chart data get none.
func Write(w io.Writer, r *audit.Result) error {
	below := report.CommonFolder(r)
	p := page{Below: below, CSS: template.CSS(pageCSS), Title: title(r), Summary: report.AuditSummaryLine(r)}
	for _, u := range r.Unreadable {
		p.Unreadable = append(p.Unreadable, unreadable{strings.TrimPrefix(u.Path, below), u.Err.Error()})
	}
	errs, warnings, notes := r.Count()
	p.Tally = []tallyRow{{markOf(defect.Error), errs}, {markOf(defect.Warning), warnings}, {markOf(defect.Note), notes}}

	worst := report.WorstFirst(r.Sounds)
	anchors := map[string]string{}
	targets := targetsOf(r)
	for i, s := range detailed(worst) {
		anchors[s.Path] = fmt.Sprintf("sound-%d", i+1)
		p.Details = append(p.Details, newDetail(anchors[s.Path], strings.TrimPrefix(s.Path, below), s, targets[s.Category]))
	}
	if len(p.Details) < len(r.Sounds) {
		p.LeftOut = fmt.Sprintf("Charts are drawn for the %d worst sounds with findings; this package has %d sounds. The table above has all.",
			len(p.Details), len(r.Sounds))
	}
	for _, s := range worst {
		p.Rows = append(p.Rows, newRow(s, strings.TrimPrefix(s.Path, below), anchors[s.Path]))
	}
	p.Rules = ruleBlocks(r, below, anchors)
	p.Strip = newStrip(r, below)
	return pageTemplate.Execute(w, p)
}

func title(r *audit.Result) string {
	if r.Sheet != nil {
		return r.Sheet.Title
	}
	if len(r.Sounds) == 1 {
		return filepath.Base(r.Sounds[0].Path)
	}
	return fmt.Sprintf("%d sounds", len(r.Sounds))
}

// detailed chooses the sounds that get charts.
func detailed(worst []*audit.Sound) []*audit.Sound {
	if len(worst) <= detailLimit {
		return worst
	}
	n := 0
	for n < detailLimit && len(worst[n].Findings) > 0 {
		n++
	}
	return worst[:n]
}

// target is where a category should sit.
type target struct{ lufs, tolerance float64 }

func targetsOf(r *audit.Result) map[string]target {
	out := map[string]target{"": {math.NaN(), math.NaN()}}
	for _, c := range r.Categories {
		out[c.Name] = target{c.TargetLUFS, c.ToleranceLU}
	}
	return out
}

func newRow(s *audit.Sound, path, anchor string) row {
	out := row{
		Anchor: anchor, Path: path, Category: s.Category, Length: fixed(s.DurationS(), 2),
		Integrated: shortReading(s.Levels.IntegratedLUFS), Range: shortReading(s.Levels.RangeLU),
		Momentary: shortReading(s.Levels.MomentaryMaxLUFS), ShortTerm: shortReading(s.Levels.ShortTermMaxLUFS),
		TruePk: "silent", Found: "none",
	}
	if v, ok := s.Peaks.TruePeakDBTP(); ok {
		out.TruePk = fixed(v, 1)
	}
	if s.StandIn {
		out.Category += " (stand-in)"
	}
	if w, ok := s.Worst(); ok {
		m := markOf(w)
		out.Worst, out.Found = &m, report.FoundIDs(s)
	}
	return out
}

// shortReading is reading for a narrow column.
func shortReading(r loudness.Reading) string {
	switch r.Absent {
	case loudness.ReasonTooShortForBlock:
		return "< 0.4 s"
	case loudness.ReasonTooShortForShortTerm:
		return "< 3 s"
	case loudness.ReasonTooQuiet:
		return "too quiet"
	}
	return reading(r)
}

// reading writes a level, or why there is none.
func reading(r loudness.Reading) string {
	if !r.OK() {
		return r.Absent
	}
	return fixed(r.Value, 1)
}

func fixed(v float64, decimals int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "–"
	}
	s := fmt.Sprintf("%.*f", decimals, float64(report.Round(v, decimals)))
	if s[0] == '-' {
		return "−" + s[1:]
	}
	return s
}

func ruleBlocks(r *audit.Result, below string, anchors map[string]string) []ruleBlock {
	var out []ruleBlock
	most := 1
	for _, g := range report.ByRule(r) {
		b := ruleBlock{Mark: markOf(g.Rule.Severity), ID: g.Rule.ID, What: g.Rule.What, Why: g.Rule.Why, Do: g.Rule.Do,
			CountOfPlaces: len(g.Places), About: g.About()}
		most = max(most, len(g.Places))
		for i, p := range g.Places {
			if i == placesShown {
				b.MorePlaces = len(g.Places) - placesShown
				break
			}
			name := strings.TrimPrefix(p.Path, below)
			if p.Path == "" {
				name = "category " + p.Category
			}
			b.Places = append(b.Places, place{anchors[p.Path], name, p.At(), p.What})
		}
		out = append(out, b)
	}
	for i := range out {
		out[i].Share = 100 * float64(out[i].CountOfPlaces) / float64(most)
	}
	return out
}
