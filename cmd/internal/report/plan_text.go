package report

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"tachbench/analysis/exposure"
	"tachbench/analysis/sii"
	"tachbench/mixplan"
	"tachbench/mixplan/solve"
)

// planWidth is how wide sentences run, planName a callout's name in the table,
// which keeps to 80 columns; the sentences below it have the whole name.
const (
	planWidth = 96
	planName  = 29
)

// PlanText writes a plan for people: what becomes of each callout, what
// yields, and how sure that is.
func PlanText(w io.Writer, r *solve.Report, written []string) error {
	t := newTable([]column{{name: "file"}, {"without", "SII"}, {"with", "SII"}, {"weak tenth", "SII"}, {"hall alone", "SII"}, {"limited by", ""}})
	for _, c := range r.Callouts {
		t.row(shorten(c.Sound.Path, planName), cutSII(c.Plain.P10), cutSII(c.Planned.P10), cutSII(c.WeakPlanned), cutSII(c.Hall), c.LimitedBy)
	}
	if err := t.write(w); err != nil {
		return err
	}
	var b strings.Builder
	b.WriteString("\n" + Wrap(PlanWeak, planWidth) + "\n\n")
	for _, c := range r.Callouts {
		b.WriteString(Wrap(Printable(c.Sound.Path)+": "+c.Sentence, planWidth) + "\n")
	}
	b.WriteString("\n")
	for _, line := range PlanYields(r) {
		b.WriteString(Wrap(line, planWidth) + "\n")
	}
	b.WriteString("\n")
	for _, line := range PlanSaid(r) {
		b.WriteString(Wrap(line, planWidth) + "\n")
	}
	b.WriteString(PlanSummaryLine(r) + "\n")
	for _, p := range written {
		fmt.Fprintf(&b, "wrote %s\n", Printable(p))
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// PlanWeak says what the weak tenth of a callout is.
const PlanWeak = "Weak tenth: with the plan, one moment in ten of a callout is at or under this, over all meetings. A word may drown there though the mean is fine."

// cutSII writes an index without rounding it up over a limit.
func cutSII(v float64) string {
	if math.IsNaN(v) {
		return "–"
	}
	return fmt.Sprintf("%.2f", math.Floor(v*100+1e-9)/100)
}

// PlanSummaryLine is the whole plan in one line.
func PlanSummaryLine(r *solve.Report) string {
	understood, spoken := PlanCount(r)
	before := 0
	for _, c := range r.Callouts {
		if c.Plain.P10 >= r.Target {
			before++
		}
	}
	how := "made"
	if !r.Made {
		how = "checked"
	}
	s := fmt.Sprintf("plan %s: %d of %d callouts understood (SII %s in nine of ten meetings), %d without it", how, understood, spoken, number(r.Target), before)
	if !r.Proof.Holds() {
		s += "; the render does NOT do what the plan promises"
	}
	return s
}

// PlanImportance says in a sentence which callouts are judged as what.
func PlanImportance(r *solve.Report) string {
	var words []string
	speak := 0
	for _, c := range r.Callouts {
		if math.IsNaN(c.Planned.P10) {
			continue
		}
		if speak++; c.Sound.OneWord {
			words = append(words, c.Sound.Path)
		}
	}
	average, alone := sii.AverageSpeech.Name, sii.OneWord.Name
	switch len(words) {
	case 0:
		return fmt.Sprintf("All callouts are judged as %s (importance of bands, ANSI S3.5); a callout of a single word belongs in one_word of the sheet.", average)
	case speak:
		return fmt.Sprintf("All callouts are judged as single words (importance of bands: %s, ANSI S3.5).", alone)
	}
	return fmt.Sprintf("Judged as single words (importance of bands: %s, ANSI S3.5): %s; the others as %s.", alone, strings.Join(words, ", "), average)
}

// PlanYields says in sentences what yields.
func PlanYields(r *solve.Report) []string {
	var out []string
	for _, d := range r.Plan.Ducks {
		band := ""
		if d.Dip != nil {
			band = fmt.Sprintf(" between %s and %s Hz", number(d.Dip.LowHz), number(d.Dip.HighHz))
		}
		out = append(out, fmt.Sprintf("While %s speaks, %s yields by %s dB%s: down in %s ms, beginning %s ms before the first word, held for %s ms after the last, back in %s ms.",
			oneOf(d.Under), d.Category, number(d.DepthDB), band, number(d.AttackMS), number(d.LookaheadMS), number(d.HoldMS), number(d.ReleaseMS)))
	}
	if len(out) == 0 {
		out = append(out, "Nothing has to yield.")
	}
	for _, q := range r.Pairs {
		if r.Made && q.BestDip != nil && q.Dip == nil {
			out = append(out, fmt.Sprintf("%s could yield in a band instead: %s dB from %s to %s Hz, %.1f dB less loud instead of %.1f; too little to pay for a filter.",
				capital(q.Category), number(q.DipDepthDB), number(q.BestDip.LowHz), number(q.BestDip.HighHz), q.DipLossDB, q.LossDB))
		}
	}
	trimmed := map[string]int{}
	var order []string
	for _, t := range r.Trims {
		if t.TrimDB != 0 {
			if trimmed[t.Category]++; trimmed[t.Category] == 1 {
				order = append(order, t.Category)
			}
		}
	}
	for _, c := range order {
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, t := range r.Trims {
			if t.Category == c && t.TrimDB != 0 {
				lo, hi = math.Min(lo, t.TrimDB), math.Max(hi, t.TrimDB)
			}
		}
		if lo == hi {
			out = append(out, fmt.Sprintf("Trims: %d of %s, %+.1f dB.", trimmed[c], c, lo))
			continue
		}
		out = append(out, fmt.Sprintf("Trims: %d of %s, %+.1f to %+.1f dB.", trimmed[c], c, lo, hi))
	}
	if r.Plan.BusGainDB != 0 {
		out = append(out, fmt.Sprintf("The sum of everything: %+.1f dB.", r.Plan.BusGainDB))
	}
	return out
}

// oneOf is a sound of a category in a sentence.
func oneOf(category string) string {
	switch {
	case category == mixplan.Engine:
		return "the engine"
	case category != "" && strings.ContainsRune("aeiouAEIOU", rune(category[0])):
		return "an " + category
	}
	return "a " + category
}

// PlanSaid says in sentences how sure all that is.
func PlanSaid(r *solve.Report) []string {
	out := append([]string{PlanImportance(r)}, r.Notes...)
	o := r.WithPlan
	out = append(out, fmt.Sprintf("Headroom: in %d minutes of simulated play the sum ran over full scale %s, %.0f an hour (95 %% between %.0f and %.0f; allowed %s).",
		r.Headroom.Minutes, Times(o.Count), o.PerHour, o.LoPerHour, o.HiPerHour, number(r.Allowed)))
	if r.Made && r.Plan.BusGainDB < 0 {
		out = append(out, fmt.Sprintf("The gain of the sum makes the machine softer against the hall, and the ducks deeper. If the amplifier is turned up by %.1f dB to make up for it, add as much to level_at_ear_db and plan again; or allow more overruns (--overruns).", -r.Plan.BusGainDB))
	}
	for _, s := range r.Shifts[1:] {
		line := fmt.Sprintf("%s: %d understood with this plan, the worst at %s", capital(s.What), s.Understood, cutSII(s.Lowest))
		if s.Depths != nil {
			var d []string
			for b, v := range s.Depths {
				d = append(d, fmt.Sprintf("%s %s", r.Pairs[b].Category, number(v)))
			}
			switch depths := strings.Join(d, ", ") + " dB"; {
			case slices.Max(append([]float64{0}, s.Depths...)) == 0 && !s.Enough:
				line += "; no ducking could help then"
			case slices.Max(append([]float64{0}, s.Depths...)) == 0:
				line += "; nothing would have to yield"
			case !s.Enough:
				line += "; even a plan of its own could not save all; it would have about " + depths
			default:
				line += "; a plan of its own would need about " + depths
			}
		}
		out = append(out, line+".")
	}
	p := planProof(r.Proof)
	if len(p.Callouts) > 0 {
		word := "as promised"
		if !p.Holds {
			word = "NOT as promised: the plan is wrong"
		}
		out = append(out, fmt.Sprintf("Proof: %d callouts measured again on %d rendered scenes, %s: SII within %.3f (%g allowed), levels within %.2f dB (%g allowed).",
			len(p.Callouts), len(p.Scenes), word, float64(p.WorstSII), solve.ProofSII, float64(p.WorstLevel), solve.ProofLevelDB))
	}
	out = append(out, r.Proof.Skipped...)
	h := r.Hearing
	out = append(out, fmt.Sprintf("At the player's ear: machine %.0f dBA over play, loudest callout %.0f, hall %.0f. For staff beside it for %d hours: %.0f dBA a day (%s).",
		h.MachineDBA, h.CalloutDBA, h.HallDBA, exposure.DayHours, h.Staff.DailyDBA, h.Staff.EU), exposure.Caution)
	return out
}

// Times is a number of times in words.
func Times(n int) string {
	switch n {
	case 0:
		return "never"
	case 1:
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// number writes a setting as people do, at most two decimals.
func number(v float64) string {
	s := fmt.Sprintf("%.2f", v)
	s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	if s == "-0" {
		return "0"
	}
	return s
}
