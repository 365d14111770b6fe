package auditpage

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"tachbench/mixplan/audit"
)

// strip is the chart of all levels: one lane for each category, one stroke
// for each sound.
type strip struct {
	Desc  string
	Ticks []axisTick
	Lanes []lane
}

type lane struct {
	Name    string
	Facts   string
	Silent  string // how many sounds have no reading, "" if all have
	Band    *bandRect
	Median  *float64 // percent
	Strokes []stroke
}

// bandRect is the target with its tolerance, in percent of the width.
type bandRect struct{ X, W float64 }

type stroke struct {
	X     float64 // percent
	Class string  // fine, off, or stand-in
	Y, H  float64 // percent of the lane
	Label string
}

// axisTick is a number under a chart.
type axisTick struct {
	X     float64 // percent
	Label string
}

const uncategorised = "no category"

// newStrip draws the integrated loudness of all sounds. The scale holds every
// reading and every target, and at least 20 LU.
func newStrip(r *audit.Result, below string) strip {
	lo, hi := math.Inf(1), math.Inf(-1)
	take := func(v float64) {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			lo, hi = math.Min(lo, v), math.Max(hi, v)
		}
	}
	for _, s := range r.Sounds {
		take(s.Levels.IntegratedLUFS.Value)
	}
	if math.IsInf(lo, 0) {
		lo, hi = -30, -10
	}
	for _, c := range r.Categories {
		take(c.TargetLUFS)
	}
	lo, hi = 5*math.Floor((lo-1)/5), 5*math.Ceil((hi+1)/5)
	for hi-lo < 20 {
		lo -= 5
	}
	at := func(v float64) float64 { return round1(100 * (v - lo) / (hi - lo)) }

	out := strip{Desc: fmt.Sprintf("Integrated loudness of each sound as a stroke, one lane for each category, from %s to %s LUFS.", fixed(lo, 0), fixed(hi, 0))}
	step := 5.0
	if hi-lo > 30 {
		step = 10
	}
	for v := step * math.Ceil(lo/step); v <= hi; v += step {
		out.Ticks = append(out.Ticks, axisTick{at(v), fixed(v, 0)})
	}
	cats := slices.Clone(r.Categories)
	var listed []string
	for _, c := range cats {
		listed = append(listed, c.Name)
	}
	for _, s := range r.Sounds {
		if !slices.Contains(listed, s.Category) {
			listed = append(listed, s.Category)
			cats = append(cats, audit.Category{Name: s.Category, TargetLUFS: math.NaN(), ToleranceLU: math.NaN(), MedianLUFS: math.NaN()})
		}
	}
	for _, c := range cats {
		if l, ok := newLane(r, c, below, at); ok {
			out.Lanes = append(out.Lanes, l)
		}
	}
	return out
}

func newLane(r *audit.Result, c audit.Category, below string, at func(float64) float64) (lane, bool) {
	l := lane{Name: c.Name}
	if c.Name == "" {
		l.Name = uncategorised
	}
	silent, sounds := 0, 0
	for i := range r.Sounds {
		s := &r.Sounds[i]
		if s.Category != c.Name {
			continue
		}
		sounds++
		v := s.Levels.IntegratedLUFS
		if !v.OK() {
			silent++
			continue
		}
		k := stroke{X: at(v.Value), Class: "fine", Y: 25, H: 50, Label: fmt.Sprintf("%s: %s LUFS", strings.TrimPrefix(s.Path, below), fixed(v.Value, 1))}
		for _, f := range s.Findings {
			if f.Rule == "loudness-off-target" {
				k.Class, k.Y, k.H = "off", 5, 90
			}
		}
		if s.StandIn {
			k.Class += " standin"
		}
		l.Strokes = append(l.Strokes, k)
	}
	if sounds == 0 {
		return l, false
	}
	l.Facts = counted(sounds, "sound")
	if c.StandIns > 0 {
		l.Facts += ", " + counted(c.StandIns, "stand-in")
	}
	if !math.IsNaN(c.MedianLUFS) {
		m := at(c.MedianLUFS)
		l.Median = &m
		l.Facts += "; median " + fixed(c.MedianLUFS, 1)
	}
	if !math.IsNaN(c.TargetLUFS) {
		l.Band = &bandRect{at(c.TargetLUFS - c.ToleranceLU), round1(at(c.TargetLUFS+c.ToleranceLU) - at(c.TargetLUFS-c.ToleranceLU))}
		l.Facts += fmt.Sprintf("; target %s ± %s LU", fixed(c.TargetLUFS, 1), fixed(c.ToleranceLU, 1))
	}
	if silent > 0 {
		l.Silent = fmt.Sprintf("%d without a reading (too short or too quiet)", silent)
	}
	return l, true
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func round1(v float64) float64 { return math.Round(v*10) / 10 }
