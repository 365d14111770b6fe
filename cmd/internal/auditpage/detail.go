package auditpage

import (
	"fmt"
	"math"
	"strings"

	"tachbench/analysis/defect"
	"tachbench/cmd/internal/report"
	"tachbench/mixplan/audit"
)

// detail is one sound with its charts.
type detail struct {
	Anchor, Path, Category string
	Facts                  []fact
	Findings               []numbered
	More                   int // findings that are not listed
	Wave                   *wave
	Loud                   *loud
	Spectrum               *spectrum
}

type fact struct{ Name, Value string }

// numbered is a finding with the number that marks its place on the waveform.
type numbered struct {
	N    int
	Mark mark
	Rule string
	At   string
	Text string
	Why  string // it matters, and what to do
}

// findingsShown is how many findings of one sound are listed and marked.
const findingsShown = 30

func newDetail(anchor, path string, s *audit.Sound, t target) detail {
	d := detail{Anchor: anchor, Path: path, Category: s.Category, Facts: factsOf(s)}
	if s.StandIn {
		d.Category += " (stand-in)"
	}
	for i, f := range s.Findings {
		if i == findingsShown {
			d.More = len(s.Findings) - findingsShown
			break
		}
		at := report.PlaceWords(f, s.Info.Channels == 1)
		if at == "" {
			at = "whole file"
		}
		d.Findings = append(d.Findings, numbered{i + 1, markOf(f.Severity), f.Rule, at, report.WhatFound(f), whyOf(f)})
	}
	if s.Chart != nil && s.Info.Frames > 0 {
		d.Wave = newWave(s)
		d.Loud = newLoud(s, t)
	}
	d.Spectrum = newSpectrum(s)
	return d
}

func whyOf(f defect.Finding) string {
	return strings.TrimPrefix(strings.TrimPrefix(f.Message, report.WhatFound(f)), " ")
}

func factsOf(s *audit.Sound) []fact {
	depth := ""
	if s.Info.BitDepth > 0 {
		depth = fmt.Sprintf(", %d bit", s.Info.BitDepth)
		if s.Info.Float {
			depth += " float"
		}
	}
	db := func(v float64, ok bool, unit string) string {
		if !ok {
			return "silent"
		}
		return fixed(v, 1) + " " + unit
	}
	unit := func(text, unit string) string {
		if strings.ContainsAny(text, "0123456789") && !strings.Contains(text, " ") {
			return text + " " + unit
		}
		return text
	}
	tp, ok := s.Peaks.TruePeakDBTP()
	rms, _ := s.RMSDBFS()
	crest, _ := s.CrestDB()
	facts := []fact{
		{"Format", fmt.Sprintf("%s, %d Hz%s, %s", s.Info.Format, s.Info.RateHz, depth, counted(s.Info.Channels, "channel"))},
		{"Length", fixed(s.DurationS(), 3) + " s"},
		{"Loudness", unit(reading(s.Levels.IntegratedLUFS), "LUFS")},
		{"Range", unit(reading(s.Levels.RangeLU), "LU")},
		{"Loudest 0.4 s", unit(reading(s.Levels.MomentaryMaxLUFS), "LUFS")},
		{"Loudest 3 s", unit(reading(s.Levels.ShortTermMaxLUFS), "LUFS")},
		{"True peak", db(tp, ok, "dBTP")},
		{"RMS", db(rms, ok, "dBFS")},
		{"Crest", db(crest, ok, "dB")},
		{"Silence at start, end", fixed(s.Ends.LeadS, 3) + " s, " + fixed(s.Ends.TailS, 3) + " s"},
	}
	if !math.IsNaN(s.Stereo.Correlation) {
		facts = append(facts, fact{"Left and right", "correlation " + fixed(s.Stereo.Correlation, 2) + ", fold-down loss " + fixed(s.Stereo.FoldLossDB, 1) + " dB"})
	}
	if s.Speech != nil {
		noise := s.Speech.NoiseFloorDB.Absent
		if s.Speech.NoiseFloorDB.OK() {
			noise = fixed(s.Speech.NoiseFloorDB.Value, 1) + " dBFS"
		}
		if s.Speech.ActiveDB.OK() {
			facts = append(facts, fact{"Speech, noise in pauses", fixed(s.Speech.ActiveDB.Value, 1) + " dBFS, " + noise})
		}
	}
	if !math.IsNaN(s.EdgeHz) {
		facts = append(facts, fact{"Spectrum ends at", fixed(s.EdgeHz/1000, 1) + " kHz"})
	}
	return facts
}

// badge is the number of a finding above the waveform.
type badge struct {
	X     float64 // percent
	Row   int
	N     int
	Class string
}

// badgeRows and badgeGap keep numbers from lying on each other; what finds no
// room keeps its line.
const (
	badgeRows = 4
	badgeGap  = 4.5 // percent of the width
)

// badges places the numbers of the findings that have a time.
func badges(s *audit.Sound) (out []badge, lines []stroke, rows int) {
	length := s.DurationS()
	var taken [badgeRows][]float64
	for i, f := range s.Findings[:min(len(s.Findings), findingsShown)] {
		if math.IsNaN(f.AtS) || length <= 0 {
			continue
		}
		x := round1(100 * math.Min(math.Max(f.AtS/length, 0), 1))
		lines = append(lines, stroke{X: x, Class: f.Severity.String(), Label: fmt.Sprintf("%d: %s at %s s", i+1, f.Rule, fixed(f.AtS, 3))})
		for row := range badgeRows {
			if free(taken[row], x) {
				taken[row] = append(taken[row], x)
				rows = max(rows, row+1)
				out = append(out, badge{math.Min(math.Max(x, 1.5), 98.5), row, i + 1, markClass(f.Severity)})
				break
			}
		}
	}
	return out, lines, rows
}

func free(taken []float64, x float64) bool {
	for _, t := range taken {
		if math.Abs(t-x) < badgeGap {
			return false
		}
	}
	return true
}

func markClass(s defect.Severity) string { return markOf(s).Class }
