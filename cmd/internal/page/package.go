package page

import (
	"slices"

	"tachbench/analysis/band"
	"tachbench/analysis/exposure"
	"tachbench/cmd/internal/report"
	"tachbench/mixplan"
	"tachbench/mixplan/ear"
	"tachbench/mixplan/listen"
	"tachbench/mixplan/scene"
	"tachbench/samples/sheet"
)

// packageJSON is /package.json: what does not change while the page is open.
type packageJSON struct {
	Title        string        `json:"title"`
	SampleRateHz int           `json:"sample_rate_hz"`
	HasEngine    bool          `json:"has_engine"`
	IdleRPM      report.Number `json:"idle_rpm"`
	RedlineRPM   report.Number `json:"redline_rpm"`
	RevBands     []revBandJSON `json:"rev_bands"`
	Scenes       []sceneJSON   `json:"scenes"`
	Categories   []string      `json:"categories"`
	Listening    listeningJSON `json:"listening"`
	BandsHz      []float64     `json:"bands_hz"`
	VolumeDB     report.Number `json:"volume_db"`
	CeilingDBTP  report.Number `json:"ceiling_dbtp"`
	Allowed      []allowedJSON `json:"allowed"`
}

type revBandJSON struct {
	Name    string  `json:"name"`
	FromRPM float64 `json:"from_rpm"`
	ToRPM   float64 `json:"to_rpm"`
	Catch   bool    `json:"catch"`
	Lamp    string  `json:"lamp"`
}

type sceneJSON struct {
	Name    string  `json:"name"`
	LengthS float64 `json:"length_s"`
	Engine  bool    `json:"engine"`
}

type listeningJSON struct {
	LevelAtEarDB float64  `json:"level_at_ear_db"`
	NoiseDBA     float64  `json:"noise_dba"`
	Assumed      []string `json:"assumed"`
}

type allowedJSON struct {
	DBA   float64       `json:"dba"`
	Hours report.Number `json:"hours"`
}

// exposureLevelsDBA are the levels for which the allowed time is shown.
var exposureLevelsDBA = []float64{85, 88, 91, 94, 97, 100}

func newPackage(sh *sheet.Sheet, chain *ear.Chain, hasEngine bool, now listen.Snapshot) packageJSON {
	p := packageJSON{
		Title:        sh.Title,
		SampleRateHz: sh.SampleRateHz,
		HasEngine:    hasEngine,
		IdleRPM:      none,
		RedlineRPM:   none,
		RevBands:     []revBandJSON{},
		Scenes:       []sceneJSON{},
		Categories:   categories(sh, hasEngine),
		Listening: listeningJSON{
			LevelAtEarDB: ear.DefaultLevelAtEarDB,
			NoiseDBA:     ear.DefaultNoiseDBA,
			Assumed:      append([]string{}, chain.Assumed...),
		},
		VolumeDB:    report.Round(now.VolumeDB, 2),
		CeilingDBTP: report.Round(now.CeilingDBTP, 2),
	}
	if sh.Engine != nil {
		p.IdleRPM, p.RedlineRPM = report.Number(sh.Engine.IdleRPM), report.Number(sh.Engine.RedlineRPM)
	}
	if l := sh.Listening; l != nil {
		p.Listening.LevelAtEarDB, p.Listening.NoiseDBA = l.LevelAtEarDB, l.NoiseDBA
	}
	for _, b := range sh.RevBands {
		p.RevBands = append(p.RevBands, revBandJSON{b.Name, b.FromRPM, b.ToRPM, b.Catch, b.Lamp})
	}
	for _, s := range sh.Scenes {
		engine := slices.ContainsFunc(s.Cues, func(c sheet.Cue) bool { return c.Curve != nil })
		p.Scenes = append(p.Scenes, sceneJSON{s.Name, s.LengthS, engine})
	}
	for x := band.FirstX; x <= band.LastX; x++ {
		p.BandsHz = append(p.BandsHz, band.NominalHz(x))
	}
	for _, dba := range exposureLevelsDBA {
		p.Allowed = append(p.Allowed, allowedJSON{dba, report.Round(exposure.NIOSH.AllowedHours(dba), 4)})
	}
	return p
}

// categories returns all that may sound, in the order in which scenes name
// them: the sheet's, the engine, what is in none.
func categories(sh *sheet.Sheet, hasEngine bool) []string {
	out := []string{}
	known := map[string]bool{}
	for _, c := range sh.Categories {
		out = append(out, c.Name)
		for _, f := range c.Files {
			known[f.Rel] = true
		}
	}
	if hasEngine && !slices.Contains(out, mixplan.Engine) {
		out = append(out, mixplan.Engine)
	}
	for _, s := range sh.Scenes {
		for _, c := range s.Cues {
			if c.Sound != nil && !known[c.Sound.Rel] && !slices.Contains(out, scene.Uncategorised) {
				out = append(out, scene.Uncategorised)
			}
		}
	}
	return out
}
