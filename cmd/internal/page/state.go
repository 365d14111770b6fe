package page

import (
	"encoding/json"
	"math"

	"tachbench/cmd/internal/report"
	"tachbench/mixplan/ear"
	"tachbench/mixplan/listen"
)

var none = report.Number(math.NaN())

// stateJSON is the message "state": what sounds, 20 times a second.
type stateJSON struct {
	Kind      string `json:"kind"`
	Frame     int64  `json:"frame"`
	Preparing string `json:"preparing"` // the scene that is being made ready

	Scene     string        `json:"scene"`
	PositionS report.Number `json:"position_s"`
	LengthS   report.Number `json:"length_s"`
	Looping   bool          `json:"looping"`
	Playing   bool          `json:"playing"`
	Silenced  bool          `json:"silenced"`

	HasPlan bool          `json:"has_plan"`
	Planned bool          `json:"planned"`
	Hall    bool          `json:"hall"`
	Cabinet bool          `json:"cabinet"`
	MatchDB report.Number `json:"match_db"`

	Drive    string        `json:"drive"`
	RPM      report.Number `json:"rpm"`
	Load     report.Number `json:"load"`
	Lever    report.Number `json:"lever"`
	Limiting bool          `json:"limiting"`

	VolumeDB         report.Number `json:"volume_db"`
	CeilingDBTP      report.Number `json:"ceiling_dbtp"`
	MomentaryLUFS    report.Number `json:"momentary_lufs"`
	ShortTermLUFS    report.Number `json:"short_term_lufs"`
	TruePeakDBTP     report.Number `json:"true_peak_dbtp"`
	TruePeakHoldDBTP report.Number `json:"true_peak_hold_dbtp"`
	Clips            int           `json:"clips"`
	OutputPeakDBTP   report.Number `json:"output_peak_dbtp"`
	LimitedDB        report.Number `json:"limited_db"`

	Buses []busJSON `json:"buses"`

	CalloutDB levelsJSON `json:"callout_db"`
	RestDB    levelsJSON `json:"rest_db"`
	HallDB    levelsJSON `json:"hall_db"`

	Callout string        `json:"callout"`
	SII     report.Number `json:"sii"`
	SIIDone bool          `json:"sii_done"`
}

type busJSON struct {
	Category string        `json:"category"`
	LevelDB  report.Number `json:"level_db"`
	Mute     bool          `json:"mute"`
	Solo     bool          `json:"solo"`
	DuckDB   report.Number `json:"duck_db"`
	DipDB    report.Number `json:"dip_db"`
}

type levelsJSON [ear.Bands]report.Number

// driveWords are the words of listen.Drive on the wire.
var driveWords = map[listen.Drive]string{
	listen.ByScene:  byScene,
	listen.ByLever:  byLever,
	listen.BySlider: bySlider,
}

func marshalState(s listen.Snapshot, preparing string) ([]byte, error) {
	out := stateJSON{
		Kind:      "state",
		Frame:     s.Frame,
		Preparing: preparing,
		Scene:     s.Scene, PositionS: report.Round(s.PositionS, 3), LengthS: report.Round(s.LengthS, 3),
		Looping: s.Looping, Playing: s.Playing, Silenced: s.Silenced,
		HasPlan: s.HasPlan, Planned: s.Planned, Hall: s.Hall, Cabinet: s.Cabinet,
		MatchDB: report.Round(s.MatchDB, 2),
		Drive:   driveWords[s.Drive],
		RPM:     report.Round(s.RPM, 1), Load: report.Round(s.Load, 3), Lever: report.Round(s.Lever, 3),
		Limiting: s.Limiting,
		VolumeDB: report.Round(s.VolumeDB, 2), CeilingDBTP: report.Round(s.CeilingDBTP, 2),
		MomentaryLUFS: report.Round(s.MomentaryLUFS, 2), ShortTermLUFS: report.Round(s.ShortTermLUFS, 2),
		TruePeakDBTP: report.Round(s.TruePeakDBTP, 2), TruePeakHoldDBTP: report.Round(s.TruePeakHoldDBTP, 2),
		Clips:          s.Clips,
		OutputPeakDBTP: report.Round(s.OutputPeakDBTP, 2), LimitedDB: report.Round(s.LimitedDB, 2),
		Buses:     make([]busJSON, len(s.Buses)),
		CalloutDB: levels(s.CalloutDB), RestDB: levels(s.RestDB), HallDB: levels(s.HallDB),
		Callout: s.Callout, SII: report.Round(s.SII, 3), SIIDone: s.SIIDone,
	}
	for i, b := range s.Buses {
		out.Buses[i] = busJSON{b.Category, report.Round(b.LevelDB, 2), b.Mute, b.Solo, report.Round(b.DuckDB, 2), report.Round(b.DipDB, 2)}
	}
	return json.Marshal(out)
}

func levels(l ear.Levels) (out levelsJSON) {
	for b, v := range l {
		out[b] = report.Round(v, 1)
	}
	return out
}
