package report

import (
	"fmt"
	"io"
	"math"
	"strings"

	"tachbench/mixplan/engine"
)

// Fidelity is what the command of that name has to tell: for every kind of
// trial and measure, the trial that came off worst.
type Fidelity struct {
	Sheet  string
	Trials int
	Lines  []FidelityLine
	Notes  []string
}

// FidelityLine is one measure at its worst. Absent figures are NaN.
type FidelityLine struct {
	Kind, Measure, Unit, Trial             string
	Value, Target, Source, Loop, Resampled float64
	AtLeast                                bool // the target is a floor, not a ceiling
	Judged                                 bool // whether Target is the product's own for this kind of trial
}

// Pass says whether the target is met; true where nothing is judged.
func (l FidelityLine) Pass() bool {
	if !l.Judged || math.IsNaN(l.Target) || math.IsNaN(l.Value) {
		return true
	}
	if l.AtLeast {
		return l.Value >= l.Target
	}
	return l.Value <= l.Target
}

// shown says which measures a kind of trial is there for.
func shown(kind engine.TrialKind, measure string) bool {
	spectral := measure == "colour" || measure == "spectral convergence"
	if kind == engine.LeftOut {
		return spectral || measure == "half orders"
	}
	return !spectral
}

// judged says whether the target binds: between recordings the half orders
// are shown beside the colour, but the product promises the colour.
func judged(kind engine.TrialKind, measure string) bool {
	return kind != engine.LeftOut || measure == "colour"
}

// NewFidelity gathers trials and speed.
func NewFidelity(sheet string, trials []engine.Trial, speed engine.Speed) Fidelity {
	f := Fidelity{Sheet: sheet, Trials: len(trials)}
	type key struct {
		kind    engine.TrialKind
		measure string
	}
	at := map[key]int{}
	for _, t := range trials {
		for _, row := range t.Report.Rows {
			if !shown(t.Kind, row.Measure) || math.IsNaN(row.Value) {
				continue
			}
			l := FidelityLine{Kind: string(t.Kind), Measure: row.Measure, Unit: row.Unit, Trial: t.Name, Value: row.Value,
				Target: row.Target, Source: row.Source, Loop: row.AnchorLoop, Resampled: row.AnchorResample, Judged: !math.IsNaN(row.Target) && judged(t.Kind, row.Measure)}
			k := key{t.Kind, row.Measure}
			i, seen := at[k]
			switch {
			case !seen:
				at[k] = len(f.Lines)
				f.Lines = append(f.Lines, l)
			case l.Value-l.Target > f.Lines[i].Value-f.Lines[i].Target:
				f.Lines[i] = l
			}
		}
	}
	nan := math.NaN()
	for _, l := range []FidelityLine{
		{Measure: "note, one core", Unit: "× real time", Value: speed.XRealTime, Target: engine.TargetXRealTime, AtLeast: true},
		{Measure: "first block", Unit: "ms", Value: speed.FirstBlockMS, Target: engine.TargetFirstBlockMS},
		{Measure: "bank of 60 s, one core", Unit: "s", Value: speed.PrepareS, Target: engine.TargetPrepareS},
		{Measure: "heap meanwhile", Unit: "MB", Value: speed.PrepareMB, Target: engine.TargetPrepareMB},
	} {
		l.Kind, l.Judged, l.Source, l.Loop, l.Resampled = "speed", true, nan, nan, nan
		f.Lines = append(f.Lines, l)
	}
	if len(at) == 0 || !hasKind(f.Lines, engine.LeftOut) {
		f.Notes = append(f.Notes, "No colour: no steady recording of 2 s or more could be left out with others near it in revs.")
	}
	return f
}

func hasKind(lines []FidelityLine, k engine.TrialKind) bool {
	for _, l := range lines {
		if l.Kind == string(k) {
			return true
		}
	}
	return false
}

// Missed counts the targets that are not met.
func (f Fidelity) Missed() int {
	n := 0
	for _, l := range f.Lines {
		if !l.Pass() {
			n++
		}
	}
	return n
}

// FidelityDocument is what `fidelity --json` prints.
type FidelityDocument struct {
	Version int              `json:"version"`
	Sheet   string           `json:"sheet"`
	Trials  int              `json:"trials"`
	Missed  int              `json:"targets_missed"`
	Lines   []FidelityObject `json:"measures"`
	Notes   []string         `json:"notes"`
}

// FidelityObject is one measure at its worst. The unit stands beside the
// value, because one list holds many kinds.
type FidelityObject struct {
	Kind      string `json:"kind"`
	Measure   string `json:"measure"`
	Unit      string `json:"unit"`
	Recording string `json:"worst_at"`
	Value     Number `json:"value"`
	Target    Number `json:"target"`
	Source    Number `json:"source"`
	Loop      Number `json:"frozen_loop"`
	Resampled Number `json:"plain_resampling"`
	Pass      bool   `json:"pass"`
}

// JSON gives the document.
func (f Fidelity) JSON() FidelityDocument {
	d := FidelityDocument{Version: Version, Sheet: f.Sheet, Trials: f.Trials, Missed: f.Missed(), Lines: []FidelityObject{}, Notes: orEmpty(f.Notes)}
	for _, l := range f.Lines {
		d.Lines = append(d.Lines, FidelityObject{l.Kind, l.Measure, l.Unit, l.Trial, Round(l.Value, 4), Round(l.Target, 4),
			Round(l.Source, 4), Round(l.Loop, 4), Round(l.Resampled, 4), l.Pass()})
	}
	return d
}

// FidelityText writes the table.
func FidelityText(w io.Writer, f Fidelity) error {
	t := newTable([]column{{name: "measure"}, {"unit", ""}, {"note", ""}, {"target", ""}, {"source", ""}, {"frozen", "loop"}, {"plain", "resampling"}, {"", ""}})
	kind := ""
	for _, l := range f.Lines {
		if l.Kind != kind {
			kind = l.Kind
			t.row(map[string]string{"sweep": "SWEEP over the revs recorded, in 8 s", "hold": "HOLDS, the worst of them", "left out": "HOLDS LEFT OUT of the bank, the worst", "speed": "SPEED"}[kind])
		}
		sign, word := "≤ ", "ok"
		if l.AtLeast {
			sign = "≥ "
		}
		target := "–"
		if l.Judged {
			target = sign + brief(l.Target)
		}
		switch {
		case !l.Judged:
			word = ""
		case math.IsNaN(l.Value):
			word = "not measured"
		case !l.Pass():
			word = "MISSED"
		}
		t.row("  "+l.Measure, l.Unit, brief(l.Value), target, brief(l.Source), brief(l.Loop), brief(l.Resampled), word)
	}
	if err := t.write(w); err != nil {
		return err
	}
	var b strings.Builder
	b.WriteString("\n")
	for _, n := range f.Notes {
		b.WriteString(Wrap(n, 90) + "\n")
	}
	if n := f.Missed(); n > 0 {
		fmt.Fprintf(&b, "%d of the targets missed in %d renders\n", n, f.Trials)
	} else {
		fmt.Fprintf(&b, "every target that could be measured met in %d renders\n", f.Trials)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// brief writes a number with the decimals its size deserves.
func brief(v float64) string {
	switch a := math.Abs(v); {
	case math.IsNaN(v):
		return "–"
	case a >= 100 || v == math.Trunc(v):
		return fixed(v, 0)
	case a >= 10:
		return fixed(v, 1)
	}
	return fixed(v, 2)
}
