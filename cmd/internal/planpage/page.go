package planpage

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"

	"tachbench/analysis/band"
	"tachbench/analysis/exposure"
	"tachbench/analysis/sii"
	"tachbench/cmd/internal/report"
	"tachbench/mixplan/ear"
	"tachbench/mixplan/meet"
	"tachbench/mixplan/solve"
)

//go:embed page.tmpl
var pageText string

//go:embed page.css
var pageCSS string

var pageTemplate = template.Must(template.New("page").Parse(pageText))

// page is what the template shows.
type page struct {
	CSS        template.CSS
	Title      string
	Summary    string
	Hall       string
	Notes      []string
	Target     string
	TargetAt   float64 // percent
	Tally      []tally
	Scale      []mark
	Callouts   []callout
	Importance string
	Map        *rpmMap
	Yields     []string
	Ducks      []duckRow
	Envelope   *envelope
	Clash      *spectrum
	Matrix     matrix
	Against    []against
	Headroom   headroomChart
	Shifts     []shiftRow
	Proof      []proofRow
	ProofSum   string
	Levels     []levelRow
	BandsHz    []string
	Trims      []trimRow
	Hearing    []string
	Caution    string
	Cost       string
	Made       bool
}

// mark is how well something is understood: shape, word, class.
type mark struct{ Shape, Word, Class, From string }

func markOf(v float64) mark {
	switch sii.Judge(v) {
	case sii.Clear:
		return mark{"●", "clear", "clear", fmt.Sprintf("%.2f and over", sii.ClearFrom)}
	case sii.Understood:
		return mark{"◕", "understood", "understood", fmt.Sprintf("%.2f to %.2f", sii.UnderstoodFrom, sii.ClearFrom)}
	case sii.Guessable:
		return mark{"◑", "guessable", "guessable", fmt.Sprintf("%.2f to %.2f", sii.GuessableFrom, sii.UnderstoodFrom)}
	}
	return mark{"○", "lost", "lost", fmt.Sprintf("under %.2f", sii.GuessableFrom)}
}

type tally struct {
	Mark          mark
	Before, After int
}

// callout is one row of what becomes of the callouts.
type callout struct {
	Path, Sentence, Limited  string
	Before, After, Hall      string
	BeforeAt, AfterAt        float64 // percent of the index scale
	HallAt, LowAt, HighAt    float64
	Left, Width              float64
	BeforeMark, AfterMark    mark
	WorstWith, Worst, Median string
	Weak, WeakPlain, Weakest string // of the moments
	Speaks                   bool
}

type duckRow struct{ Category, Under, Depth, Band, Attack, Lookahead, Hold, Release, Loss, Alone, Why string }

type shiftRow struct{ What, Understood, Lowest, Own string }

type proofRow struct {
	Scene, Path, At, Plain, Promised, Measured, Level string
	OK                                                bool
}

type levelRow struct {
	Name, What, DB, DBA, DBC string
	Bands                    []string // third octaves, whole dB
}

type trimRow struct{ Path, Category, LUFS, Target, Peak, Trim, Why string }

// Write writes the page.
func Write(w io.Writer, r *solve.Report) error {
	p := page{CSS: template.CSS(pageCSS), Made: r.Made, Title: r.Sheet.Title, Summary: capital(report.PlanSummaryLine(r)) + ".",
		Notes: r.Notes, Target: index(r.Target), TargetAt: percent(r.Target), Yields: report.PlanYields(r), Caution: exposure.Caution}
	p.Hall = fmt.Sprintf("Hall %.0f dBA at the player's ear; pink noise at −20 dBFS arrives with %.0f dB SPL.",
		r.Package.Chain.Hall.DBA(), r.Package.Chain.PinkAtEar().DB())
	for _, v := range []float64{0.9, 0.5, 0.4, 0} {
		p.Scale = append(p.Scale, markOf(v))
		p.Tally = append(p.Tally, tally{Mark: markOf(v)})
	}
	for i := range r.Callouts {
		c := &r.Callouts[i]
		p.Callouts = append(p.Callouts, newCallout(c))
		for k := range p.Tally {
			if math.IsNaN(c.Planned.P10) {
				continue
			}
			if p.Tally[k].Mark == markOf(c.Plain.P10) {
				p.Tally[k].Before++
			}
			if p.Tally[k].Mark == markOf(c.Planned.P10) {
				p.Tally[k].After++
			}
		}
	}
	p.Importance = report.PlanImportance(r)
	p.Map = newMap(r)
	p.ducks(r)
	p.Envelope = newEnvelope(r)
	p.Clash = newSpectrum(r)
	p.Matrix = newMatrix(r)
	p.Against = newAgainst(r)
	p.Headroom = newHeadroom(r)
	p.rest(r)
	return pageTemplate.Execute(w, p)
}

func newCallout(c *solve.Outcome) callout {
	out := callout{Path: c.Sound.Path, Sentence: c.Sentence, Limited: c.LimitedBy, Speaks: !math.IsNaN(c.Planned.P10)}
	if !out.Speaks {
		return out
	}
	out.Before, out.After, out.Hall = index(c.Plain.P10), index(c.Planned.P10), index(c.Hall)
	out.BeforeAt, out.AfterAt, out.HallAt = percent(c.Plain.P10), percent(c.Planned.P10), percent(c.Hall)
	out.LowAt, out.HighAt = percent(c.Planned.Worst), percent(c.Planned.Median)
	out.Left, out.Width = math.Min(out.BeforeAt, out.AfterAt), round1(math.Abs(out.AfterAt-out.BeforeAt))
	out.BeforeMark, out.AfterMark = markOf(c.Plain.P10), markOf(c.Planned.P10)
	out.WorstWith, out.Worst, out.Median = c.WorstWith, index(c.Planned.Worst), index(c.Planned.Median)
	out.Weak, out.WeakPlain, out.Weakest = index(c.WeakPlanned), index(c.WeakPlain), "no place in it stands out"
	if c.WeakestBelow >= solve.StandsOut {
		out.Weakest = fmt.Sprintf("least is understood at %s s", fixed(c.WeakestAtS, 2))
	}
	return out
}

func (p *page) ducks(r *solve.Report) {
	loss := map[string]solve.Pair{}
	for _, q := range r.Pairs {
		loss[q.Category] = q
	}
	for _, d := range r.Plan.Ducks {
		row := duckRow{d.Category, d.Under, fixed(d.DepthDB, 1), "all", fixed(d.AttackMS, 0), fixed(d.LookaheadMS, 0), fixed(d.HoldMS, 0), fixed(d.ReleaseMS, 0), "–", "–", d.Why["depth_db"]}
		if d.Dip != nil {
			row.Band = fixed(d.Dip.LowHz, 0) + " to " + fixed(d.Dip.HighHz, 0) + " Hz"
		}
		if q, ok := loss[d.Category]; ok && d.Under == meet.Callout {
			row.Loss = fixed(q.LossDB, 1)
			if row.Alone = fixed(q.AloneDB, 1); math.IsNaN(q.AloneDB) {
				row.Alone = "not enough"
			}
		}
		p.Ducks = append(p.Ducks, row)
	}
	p.Cost = fixed(r.CostDB2, 1)
}

// rest fills the tables.
func (p *page) rest(r *solve.Report) {
	for _, s := range r.Shifts {
		row := shiftRow{What: s.What, Understood: fmt.Sprint(s.Understood), Lowest: index(s.Lowest)}
		for b, v := range s.Depths {
			if b > 0 {
				row.Own += ", "
			}
			row.Own += r.Pairs[b].Category + " " + fixed(v, 1)
		}
		if s.Depths != nil && !s.Enough {
			row.Own += "; not enough for all"
		}
		p.Shifts = append(p.Shifts, row)
	}
	for _, c := range r.Proof.Callouts {
		p.Proof = append(p.Proof, proofRow{c.Scene, c.Path, fixed(c.AtS, 2), fixed(c.Plain, 3), fixed(c.Promised, 3), fixed(c.Measured, 3), fixed(c.WorstLevelDB, 2), c.Holds()})
	}
	p.ProofSum = fmt.Sprintf("True peak of these scenes: %s dBTP without the plan, %s with it; loudness %s and %s LUFS.",
		fixed(r.Proof.Plain.TruePeakDBTP, 1), fixed(r.Proof.Planned.TruePeakDBTP, 1), fixed(r.Proof.Plain.IntegratedLUFS, 1), fixed(r.Proof.Planned.IntegratedLUFS, 1))
	p.levels(r)
	for _, t := range r.Trims {
		name := t.Path
		if name == "" {
			name = "the engine note"
		}
		p.Trims = append(p.Trims, trimRow{name, t.Category, fixed(t.LUFS, 1), fixed(t.Target, 1), fixed(t.PeakDBTP, 1), fixed(t.TrimDB, 1), t.Why})
	}
	h := r.Hearing
	p.Hearing = []string{
		fmt.Sprintf("The machine at the player's ear, averaged over play: %.0f dBA; the loudest callout while it speaks: %.0f dBA; the hall: %.0f dBA.", h.MachineDBA, h.CalloutDBA, h.HallDBA),
		fmt.Sprintf("A player, %d hour a day: daily exposure %.0f dBA, of which the hall alone makes %.0f; %.0f %% of the NIOSH daily dose.", solve.PlayerHours, h.Player.DailyDBA, h.Player.HallDailyDBA, h.Player.NIOSHPercent),
		fmt.Sprintf("Staff at the same place for %d hours: %.0f dBA, %s (EU 2003/10/EC: action values 80 and 85, limit 87); the hall alone makes %.0f.", exposure.DayHours, h.Staff.DailyDBA, h.Staff.EU, h.Staff.HallDailyDBA),
	}
}

func (p *page) levels(r *solve.Report) {
	for x := band.FirstX; x <= band.LastX; x++ {
		hz := band.NominalHz(x)
		name := fmt.Sprint(hz)
		if hz >= 1000 {
			name = fmt.Sprint(hz/1000) + "k"
		}
		p.BandsHz = append(p.BandsHz, name)
	}
	row := func(name, what string, l ear.Levels) {
		r := levelRow{name, what, fixed(l.DB(), 1), fixed(l.DBA(), 1), fixed(l.DBC(), 1), nil}
		for _, v := range l {
			cell := fixed(v, 0)
			if v < 0 {
				cell = "–" // nobody hears that
			}
			r.Bands = append(r.Bands, cell)
		}
		p.Levels = append(p.Levels, r)
	}
	row("Hall", "as the sheet says, machine off", r.Package.Chain.Hall)
	row("Pink noise", "at −20 dBFS RMS through the cabinet, hall quiet", r.Package.Chain.PinkAtEar())
	for _, c := range r.Package.Callouts {
		row(c.Path, "whole file, with the plan", c.Long)
	}
	for _, b := range r.Package.Buses {
		for _, s := range b.Sounds {
			row(s.Path, "with the plan's trims, nobody speaking", s.Long)
		}
	}
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return string(s[0]-'a'+'A') + s[1:]
}

func round1(v float64) float64 { return math.Round(v*10) / 10 }

// percent places an index on its scale.
func percent(v float64) float64 { return round1(100 * math.Min(math.Max(v, 0), 1)) }

// index writes an index, cut so that it never seems to reach what it does not.
func index(v float64) string {
	if math.IsNaN(v) {
		return "–"
	}
	return fmt.Sprintf("%.2f", math.Floor(v*100+1e-9)/100)
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
