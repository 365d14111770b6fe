package report

import (
	"math"

	"tachbench/analysis/defect"
	"tachbench/mixplan/audit"
)

// AuditDocument is `tachbench audit --json`. testdata/audit.schema.json
// describes it.
type AuditDocument struct {
	Version    int                   `json:"version"`
	Summary    AuditSummary          `json:"summary"`
	Files      []AuditFile           `json:"files"`
	Unreadable []Unreadable          `json:"unreadable"`
	Package    []AuditPackageFinding `json:"package"`
	Categories []AuditCategory       `json:"categories"`
}

// AuditSummary counts.
type AuditSummary struct {
	Files      int `json:"files"`
	Unreadable int `json:"unreadable"`
	Errors     int `json:"errors"` // unreadable files among them
	Warnings   int `json:"warnings"`
	Notes      int `json:"notes"`
}

// AuditFile is one measured sound.
type AuditFile struct {
	Path         string  `json:"path"`
	Category     *string `json:"category"`
	StandIn      bool    `json:"stand_in"`
	Format       string  `json:"format"`
	SampleRateHz int     `json:"sample_rate_hz"`
	BitDepth     *int    `json:"bit_depth"` // null where the format has none
	Channels     int     `json:"channels"`
	DurationS    Number  `json:"duration_s"`

	IntegratedLUFS   Number `json:"integrated_lufs"`
	LoudnessRangeLU  Number `json:"loudness_range_lu"`
	MomentaryMaxLUFS Number `json:"momentary_max_lufs"`
	ShortTermMaxLUFS Number `json:"short_term_max_lufs"`
	TruePeakDBTP     Number `json:"true_peak_dbtp"`
	SamplePeakDBFS   Number `json:"sample_peak_dbfs"`
	RMSDBFS          Number `json:"rms_dbfs"`
	CrestDB          Number `json:"crest_db"`
	DCOffset         Number `json:"dc_offset"` // of the channel with the largest
	LeadSilenceS     Number `json:"lead_silence_s"`
	TailSilenceS     Number `json:"tail_silence_s"`
	Correlation      Number `json:"stereo_correlation"`
	FoldDownLossDB   Number `json:"fold_down_loss_db"`
	BandEdgeHz       Number `json:"band_edge_hz"`

	// Of callouts only.
	ActiveSpeechDBFS Number `json:"active_speech_level_dbfs"`
	NoiseFloorDBFS   Number `json:"noise_floor_dbfs"`
	SpeechToNoiseDB  Number `json:"speech_to_noise_db"`

	// NotMeasured says why a level is null, by key.
	NotMeasured map[string]string `json:"not_measured"`

	PerChannel  []AuditChannel `json:"per_channel"`
	ThirdOctave []AuditBand    `json:"third_octave"`
	Findings    []AuditFinding `json:"findings"`
}

// AuditChannel holds the measures of one channel, in the order of the file.
type AuditChannel struct {
	TruePeakDBTP   Number `json:"true_peak_dbtp"`
	SamplePeakDBFS Number `json:"sample_peak_dbfs"`
	RMSDBFS        Number `json:"rms_dbfs"`
	CrestDB        Number `json:"crest_db"`
	DCOffset       Number `json:"dc_offset"`
}

// AuditBand is one third octave.
type AuditBand struct {
	NominalHz Number `json:"nominal_hz"`
	LevelDBFS Number `json:"level_dbfs"` // re mean square 1; a full-scale sine reads -3.01
}

// AuditFinding is one thing that is wrong with a sound.
type AuditFinding struct {
	Rule     string `json:"rule"`
	Severity string `json:"severity"`
	AtS      Number `json:"at_s"`    // null = the whole file
	Channel  *int   `json:"channel"` // from 0; null = all channels
	Value    Number `json:"value"`   // in unit; null where there is no number
	Limit    Number `json:"limit"`
	Unit     string `json:"unit"`
	Message  string `json:"message"`
}

// AuditPackageFinding is a finding about the package: a category, or a file
// that was not measured.
type AuditPackageFinding struct {
	Path     *string `json:"path"`
	Category *string `json:"category"`
	AuditFinding
}

// AuditCategory sums up a category.
type AuditCategory struct {
	Name        string `json:"name"`
	Files       int    `json:"files"`
	StandIns    int    `json:"stand_ins"`
	TargetLUFS  Number `json:"target_lufs"`
	ToleranceLU Number `json:"tolerance_lu"`
	MedianLUFS  Number `json:"median_lufs"`
}

// NewAuditDocument puts a result into the document's shape.
func NewAuditDocument(r *audit.Result) AuditDocument {
	errs, warnings, notes := r.Count()
	d := AuditDocument{
		Version:    Version,
		Summary:    AuditSummary{len(r.Sounds), len(r.Unreadable), errs, warnings, notes},
		Files:      make([]AuditFile, len(r.Sounds)),
		Unreadable: make([]Unreadable, len(r.Unreadable)),
		Package:    make([]AuditPackageFinding, len(r.Package)),
		Categories: make([]AuditCategory, len(r.Categories)),
	}
	for i := range r.Sounds {
		d.Files[i] = auditFile(&r.Sounds[i])
	}
	for i, u := range r.Unreadable {
		d.Unreadable[i] = Unreadable{Path: u.Path, Error: u.Err.Error()}
	}
	for i, f := range r.Package {
		d.Package[i] = AuditPackageFinding{Path: orNull(f.Path), Category: orNull(f.Category), AuditFinding: auditFinding(f.Finding)}
	}
	for i, c := range r.Categories {
		d.Categories[i] = AuditCategory{c.Name, c.Sounds, c.StandIns, Round(c.TargetLUFS, 2), Round(c.ToleranceLU, 2), Round(c.MedianLUFS, 2)}
	}
	return d
}

func auditFile(s *audit.Sound) AuditFile {
	m := measuresOf(s)
	f := AuditFile{
		Path: s.Path, Category: orNull(s.Category), StandIn: s.StandIn,
		Format: s.Info.Format, SampleRateHz: s.Info.RateHz, Channels: s.Info.Channels,
		DurationS:        Round(s.DurationS(), 6),
		IntegratedLUFS:   Round(m.integrated, 2),
		LoudnessRangeLU:  Round(m.rangeLU, 2),
		MomentaryMaxLUFS: Round(m.momentary, 2),
		ShortTermMaxLUFS: Round(m.shortTerm, 2),
		TruePeakDBTP:     Round(m.truePeak, 2),
		SamplePeakDBFS:   Round(m.samplePeak, 2),
		RMSDBFS:          Round(m.rms, 2),
		CrestDB:          Round(m.crest, 2),
		DCOffset:         Round(m.dc, 6),
		LeadSilenceS:     Round(s.Ends.LeadS, 4),
		TailSilenceS:     Round(s.Ends.TailS, 4),
		Correlation:      Round(s.Stereo.Correlation, 3),
		FoldDownLossDB:   Round(s.Stereo.FoldLossDB, 2),
		BandEdgeHz:       Round(s.EdgeHz, 0),
		ActiveSpeechDBFS: Round(m.speech, 2),
		NoiseFloorDBFS:   Round(m.noise, 2),
		SpeechToNoiseDB:  Round(m.overNoise, 2),
		NotMeasured:      m.absent,
		PerChannel:       make([]AuditChannel, len(s.Peaks.Channels)),
		ThirdOctave:      make([]AuditBand, len(s.ThirdOctaves)),
		Findings:         make([]AuditFinding, len(s.Findings)),
	}
	if s.Info.BitDepth > 0 {
		f.BitDepth = &s.Info.BitDepth
	}
	for c, ch := range s.Peaks.Channels {
		one := channelMeasures(ch)
		f.PerChannel[c] = AuditChannel{Round(one.truePeak, 2), Round(one.samplePeak, 2), Round(one.rms, 2), Round(one.crest, 2), Round(one.dc, 6)}
	}
	for i, b := range s.ThirdOctaves {
		f.ThirdOctave[i] = AuditBand{Number(b.NominalHz), Round(b.LevelDB, 2)}
	}
	for i, x := range s.Findings {
		f.Findings[i] = auditFinding(x)
	}
	return f
}

func auditFinding(f defect.Finding) AuditFinding {
	out := AuditFinding{
		Rule: f.Rule, Severity: f.Severity.String(), AtS: Round(f.AtS, 6),
		Value: significant(f.Value), Limit: significant(f.Limit), Unit: f.Unit, Message: f.Message,
	}
	if f.Channel >= 0 {
		out.Channel = &f.Channel
	}
	return out
}

// significant keeps four digits: values of findings have all kinds of units.
func significant(v float64) Number {
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return Number(v)
	}
	digits := 4 - int(math.Ceil(math.Log10(math.Abs(v))))
	if digits < 0 {
		return Number(math.Round(v))
	}
	return Round(v, min(digits, 12))
}

func orNull(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}
