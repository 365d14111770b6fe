package report

import (
	"encoding/csv"
	"io"
	"math"
	"strconv"
	"strings"

	"tachbench/analysis/defect"
	"tachbench/mixplan/audit"
)

var auditCSVHead = []string{
	"path", "category", "stand_in", "severity", "rule", "at_s", "channel", "value", "limit", "unit", "message",
	"format", "sample_rate_hz", "bit_depth", "channels", "duration_s",
	"integrated_lufs", "loudness_range_lu", "momentary_max_lufs", "short_term_max_lufs",
	"true_peak_dbtp", "sample_peak_dbfs", "rms_dbfs", "crest_db", "dc_offset", "lead_silence_s", "tail_silence_s",
	"active_speech_level_dbfs", "noise_floor_dbfs", "speech_to_noise_db",
}

// AuditCSV writes one row a finding, with the file's measures repeated in
// each row, and one row for a file without findings. What could not be
// measured is an empty cell. Channels count from 0, as in the JSON document.
func AuditCSV(w io.Writer, r *audit.Result) error {
	c := csv.NewWriter(w)
	rows := [][]string{auditCSVHead}
	none := make([]string, len(auditCSVHead)-11)
	for _, u := range r.Unreadable {
		rows = append(rows, append(findingCells(u.Path, u.Category, false, &u.Finding), none...))
	}
	for i := range r.Sounds {
		s := &r.Sounds[i]
		cells := measureCells(s)
		if len(s.Findings) == 0 {
			rows = append(rows, append(findingCells(s.Path, s.Category, s.StandIn, nil), cells...))
		}
		for _, f := range s.Findings {
			rows = append(rows, append(findingCells(s.Path, s.Category, s.StandIn, &f), cells...))
		}
	}
	for _, f := range r.Package {
		rows = append(rows, append(findingCells(f.Path, f.Category, false, &f.Finding), none...))
	}
	return c.WriteAll(rows)
}

func findingCells(path, category string, standIn bool, f *defect.Finding) []string {
	row := []string{textCell(path), textCell(category), strconv.FormatBool(standIn)}
	if f == nil {
		return append(row, "", "", "", "", "", "", "", "")
	}
	channel := ""
	if f.Channel >= 0 {
		channel = strconv.Itoa(f.Channel)
	}
	return append(row, f.Severity.String(), f.Rule, numberCell(Round(f.AtS, 6)), channel,
		numberCell(significant(f.Value)), numberCell(significant(f.Limit)), f.Unit, textCell(f.Message))
}

func measureCells(s *audit.Sound) []string {
	a := auditFile(s)
	depth := ""
	if a.BitDepth != nil {
		depth = strconv.Itoa(*a.BitDepth)
	}
	row := []string{a.Format, strconv.Itoa(a.SampleRateHz), depth, strconv.Itoa(a.Channels)}
	for _, v := range []Number{a.DurationS, a.IntegratedLUFS, a.LoudnessRangeLU, a.MomentaryMaxLUFS, a.ShortTermMaxLUFS,
		a.TruePeakDBTP, a.SamplePeakDBFS, a.RMSDBFS, a.CrestDB, a.DCOffset, a.LeadSilenceS, a.TailSilenceS,
		a.ActiveSpeechDBFS, a.NoiseFloorDBFS, a.SpeechToNoiseDB} {
		row = append(row, numberCell(v))
	}
	return row
}

func numberCell(n Number) string {
	if v := float64(n); math.IsNaN(v) || math.IsInf(v, 0) {
		return ""
	}
	return strconv.FormatFloat(float64(n), 'f', -1, 64)
}

// textCell keeps a spreadsheet from taking text for a formula.
func textCell(s string) string {
	s = Printable(s)
	if s != "" && strings.ContainsRune("=+-@", rune(s[0])) {
		return "'" + s
	}
	return s
}
