package planpage

import (
	"fmt"
	"math"
	"strings"

	"tachbench/mixplan/ear"
	"tachbench/mixplan/solve"
)

// envelope is one callout and how everything yields to it.
type envelope struct {
	Path, Desc string
	Area       string // the callout's level
	Speech     []stripe
	Lines      []envelopeLine
	HallY      float64
	Seconds    []tick
	DBs        []tick // attenuation
	TopDB      string
}

type stripe struct{ X, W float64 }

type envelopeLine struct{ Category, Path, Class, Label string }

const (
	envelopeFloorDB = 40.0 // dB SPL at the bottom of the level
	envelopeTopDB   = 100.0
	envelopeDuckDB  = 18.0 // at the bottom of the attenuation
)

// newEnvelope shows the callout with the most pauses, the first of equals:
// there is most to see.
func newEnvelope(r *solve.Report) *envelope {
	best := -1
	for i, c := range r.Callouts {
		if n := len(c.Sound.Spans); n > 0 && (best < 0 || n > len(r.Callouts[best].Sound.Spans)) {
			best = i
		}
	}
	if best < 0 || len(r.Plan.Ducks) == 0 {
		return nil
	}
	e := r.Envelope(r.Package, best)
	if len(e.Lines) == 0 {
		return nil
	}
	length := float64(len(e.Lines[0].DB)) * e.StepS
	x := func(s float64) float64 { return round1(fieldW * (s - e.FromS) / length) }
	y := func(db float64) float64 {
		return round1(fieldH * (1 - (math.Min(math.Max(db, envelopeFloorDB), envelopeTopDB)-envelopeFloorDB)/(envelopeTopDB-envelopeFloorDB)))
	}
	out := &envelope{Path: r.Callouts[best].Sound.Path, HallY: y(e.HallDB)}
	out.Desc = "Level of the callout at the ear as an area from 40 to 100 dB SPL, and how far each category yields, as lines that hang from the top, 0 to 18 dB."
	var b strings.Builder
	fmt.Fprintf(&b, "M%g %d", x(0), fieldH)
	for i, db := range e.LevelDB {
		fmt.Fprintf(&b, "L%g %gL%g %g", x(float64(i)*e.FrameS), y(db), x(float64(i+1)*e.FrameS), y(db))
	}
	fmt.Fprintf(&b, "L%g %dZ", x(float64(len(e.LevelDB))*e.FrameS), fieldH)
	out.Area = b.String()
	for _, s := range r.Callouts[best].Sound.Spans {
		out.Speech = append(out.Speech, stripe{x(s.FromS), round1(x(s.ToS) - x(s.FromS))})
	}
	for k, l := range e.Lines {
		var b strings.Builder
		last := math.NaN()
		for i, db := range l.DB {
			// Corners only: a straight line needs no points between.
			next := math.NaN()
			if i+1 < len(l.DB) {
				next = l.DB[i+1]
			}
			if i > 0 && i+1 < len(l.DB) && math.Abs((next-db)-(db-last)) < 1e-6 {
				last = db
				continue
			}
			op := "L"
			if i == 0 {
				op = "M"
			}
			fmt.Fprintf(&b, "%s%g %g", op, x(e.FromS+float64(i)*e.StepS), round1(fieldH*db/envelopeDuckDB))
			last = db
		}
		label := fmt.Sprintf("%s, %s dB", l.Category, fixed(l.Duck.DepthDB, 1))
		if l.Duck.Dip != nil {
			label += fmt.Sprintf(" from %s to %s Hz", fixed(l.Duck.Dip.LowHz, 0), fixed(l.Duck.Dip.HighHz, 0))
		}
		out.Lines = append(out.Lines, envelopeLine{l.Category, b.String(), fmt.Sprintf("line%d", k%4), label})
	}
	step := 0.5
	if length > 6 {
		step = 1
	}
	for s := 0.0; s < length+e.FromS; s += step {
		out.Seconds = append(out.Seconds, tick{x(s) / fieldW * 100, fixed(s, 1)})
	}
	for _, db := range []float64{0, 6, 12, 18} {
		out.DBs = append(out.DBs, tick{round1(100 * db / envelopeDuckDB), fixed(-db, 0)})
	}
	return out
}

// spectrum is the worst collision, band by band.
type spectrum struct {
	Callout, Other string
	Sentence, Desc string
	Lines          []envelopeLine
	Bands, DBs     []tick
	Table          [][4]string
}

func newSpectrum(r *solve.Report) *spectrum {
	w := r.Clashes.Worst
	if w == nil {
		return nil
	}
	out := &spectrum{Callout: w.Callout.Path, Other: w.Other.Path,
		Sentence: fmt.Sprintf("%s hides %.0f %% of what matters in %s when both sound at once and nothing yields.", w.Other.Path, 100*w.Masks, w.Callout.Path),
		Desc:     "Third-octave levels at the ear from 20 Hz to 20 kHz, dB SPL, as steps: the callout, the other sound and the hall."}
	top := 40.0
	for _, l := range []ear.Levels{w.Callout.Long, w.Other.Long, r.Package.Chain.Hall} {
		for _, v := range l {
			top = math.Max(top, v)
		}
	}
	top = math.Ceil(top/10) * 10
	bottom := top - 60
	y := func(db float64) float64 {
		return round1(fieldH * (top - math.Min(math.Max(db, bottom), top)) / (top - bottom))
	}
	x := func(b int) float64 { return round1(fieldW * float64(b) / ear.Bands) }
	for k, l := range []struct {
		name   string
		levels ear.Levels
	}{{w.Callout.Path, w.Callout.Long}, {w.Other.Path, w.Other.Long}, {"the hall", r.Package.Chain.Hall}} {
		var b strings.Builder
		up := true
		for i, v := range l.levels {
			if math.IsInf(v, -1) {
				up = true
				continue
			}
			op := "L"
			if up {
				op = "M"
			}
			fmt.Fprintf(&b, "%s%g %gL%g %g", op, x(i), y(v), x(i+1), y(v))
			up = false
		}
		out.Lines = append(out.Lines, envelopeLine{l.name, b.String(), fmt.Sprintf("line%d", k), l.name})
	}
	for b := range ear.Bands {
		out.Table = append(out.Table, [4]string{hz(ear.MidHz(b)), fixed(w.Callout.Long[b], 1), fixed(w.Other.Long[b], 1), fixed(r.Package.Chain.Hall[b], 1)})
	}
	for _, l := range []struct {
		band int
		name string
	}{{5, "63"}, {11, "250"}, {17, "1k"}, {23, "4k"}, {29, "16k"}} {
		out.Bands = append(out.Bands, tick{round1(100 * (float64(l.band) + 0.5) / ear.Bands), l.name})
	}
	for db := top; db >= bottom; db -= 20 {
		out.DBs = append(out.DBs, tick{round1(100 * (top - db) / (top - bottom)), fixed(db, 0)})
	}
	return out
}

func hz(v float64) string {
	if v < 100 {
		return fixed(v, 1)
	}
	return fixed(v, 0)
}
