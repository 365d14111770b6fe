package report

import (
	"fmt"
	"io"
	"strings"

	"tachbench/mixplan/render"
	"tachbench/mixplan/scene"
)

// Mix is what mix has to tell.
type Mix struct {
	Path, Scene string
	Plan        string // its file; empty: plain
	RateHz      int
	BitDepth    int
	Channels    int
	LengthS     float64
	BusGainDB   float64 // of the plan
	GainDB      float64 // what the mix was turned down by beyond it; 0 or negative
	Levels      render.Levels
	Events      []MixEvent
	Buses       []MixBus
	Warnings    []string
	Written     []string
}

// MixEvent is a cue with the plan's trim of it.
type MixEvent struct {
	scene.Event
	TrimDB float64
}

// MixBus is a category as it sounds in the mix.
type MixBus struct {
	render.Bus
	Levels render.Levels
}

// MixDocument is what `mix --json` prints.
type MixDocument struct {
	Version        int                 `json:"version"`
	Path           string              `json:"path"`
	Scene          string              `json:"scene"`
	Plan           *string             `json:"plan"`
	RateHz         int                 `json:"sample_rate_hz"`
	BitDepth       int                 `json:"bit_depth"`
	Channels       int                 `json:"channels"`
	DurationS      Number              `json:"duration_s"`
	SamplePeakDBFS Number              `json:"sample_peak_dbfs"`
	TruePeakDBTP   Number              `json:"true_peak_dbtp"`
	IntegratedLUFS Number              `json:"integrated_lufs"`
	BusGainDB      Number              `json:"bus_gain_db"`
	GainDB         Number              `json:"gain_db"`
	Events         []MixEventObject    `json:"events"`
	Categories     []MixCategoryObject `json:"categories"`
	Warnings       []string            `json:"warnings"`
	Written        []string            `json:"written"`
}

// MixEventObject is one cue. ActiveS are the stretches in which the sound
// speaks, in seconds from its first sample.
type MixEventObject struct {
	AtS      Number      `json:"at_s"`
	EndS     Number      `json:"end_s"`
	Category string      `json:"category"`
	Path     string      `json:"path"`
	Loop     bool        `json:"loop"`
	TrimDB   Number      `json:"trim_db"`
	ActiveS  [][2]Number `json:"active_s"`
}

// MixCategoryObject is one category as it sounds in the mix.
type MixCategoryObject struct {
	Category       string `json:"category"`
	TruePeakDBTP   Number `json:"true_peak_dbtp"`
	IntegratedLUFS Number `json:"integrated_lufs"`
	Ducks          int    `json:"ducks"`
	DuckedS        Number `json:"ducked_s"`
	DeepestDB      Number `json:"deepest_db"`
}

// JSON gives the document of a mix.
func (m Mix) JSON() MixDocument {
	d := MixDocument{
		Version: Version, Path: m.Path, Scene: m.Scene, RateHz: m.RateHz, BitDepth: m.BitDepth, Channels: m.Channels,
		DurationS: Round(m.LengthS, 4), SamplePeakDBFS: Round(m.Levels.SamplePeakDBFS, 2), TruePeakDBTP: Round(m.Levels.TruePeakDBTP, 2),
		IntegratedLUFS: Round(m.Levels.IntegratedLUFS, 2), BusGainDB: Round(m.BusGainDB, 2), GainDB: Round(m.GainDB, 2),
		Events: []MixEventObject{}, Categories: []MixCategoryObject{}, Warnings: orEmpty(m.Warnings), Written: orEmpty(m.Written),
	}
	if m.Plan != "" {
		d.Plan = &m.Plan
	}
	for _, e := range m.Events {
		at := float64(e.At) / float64(m.RateHz)
		o := MixEventObject{Round(at, 4), Round(float64(e.End)/float64(m.RateHz), 4), e.Category, e.Path, e.Loop, Round(e.TrimDB, 2), [][2]Number{}}
		for _, a := range e.Active {
			o.ActiveS = append(o.ActiveS, [2]Number{Round(a.FromS-at, 3), Round(a.ToS-at, 3)})
		}
		d.Events = append(d.Events, o)
	}
	for _, b := range m.Buses {
		d.Categories = append(d.Categories, MixCategoryObject{b.Category, Round(b.Levels.TruePeakDBTP, 2), Round(b.Levels.IntegratedLUFS, 2),
			b.Cost.Times, Round(float64(b.Cost.Frames)/float64(m.RateHz), 3), Round(b.Cost.DeepestDB, 2)})
	}
	return d
}

// MixText writes the result of a mix for people: what sounds when, what each
// category did, and last what was made.
func MixText(w io.Writer, m Mix) error {
	t := newTable([]column{{name: "file"}, {"category", ""}, {"from", "s"}, {"to", "s"}, {"trim", "dB"}})
	for _, e := range m.Events {
		name := e.Path
		if e.Loop {
			name += ", loops"
		}
		t.row(shorten(name, 44), shorten(e.Category, 16), fixed(float64(e.At)/float64(m.RateHz), 2), fixed(float64(e.End)/float64(m.RateHz), 2), fixed(e.TrimDB, 1))
	}
	if err := t.write(w); err != nil {
		return err
	}
	if _, err := fmt.Fprintln(w); err != nil {
		return err
	}
	t = newTable([]column{{"category", ""}, {"integrated", "LUFS"}, {"true peak", "dBTP"}, {"ducks", ""}, {"ducked", "s"}, {"deepest", "dB"}})
	for _, b := range m.Buses {
		t.row(shorten(b.Category, 16), fixed(b.Levels.IntegratedLUFS, 1), fixed(b.Levels.TruePeakDBTP, 1),
			fmt.Sprint(b.Cost.Times), fixed(float64(b.Cost.Frames)/float64(m.RateHz), 2), fixed(b.Cost.DeepestDB, 1))
	}
	if err := t.write(w); err != nil {
		return err
	}
	var b strings.Builder
	channels, how := "mono", "plain"
	if m.Channels == 2 {
		channels = "stereo"
	}
	if m.Plan != "" {
		how = "with " + Printable(m.Plan)
	}
	fmt.Fprintf(&b, "\n%s %s: %.2f s, %d Hz, %d bit, %s\n", Printable(m.Scene), how, m.LengthS, m.RateHz, m.BitDepth, channels)
	loud := "no integrated loudness, " + m.Levels.NotLoud
	if m.Levels.NotLoud == "" {
		loud = fmt.Sprintf("integrated %.1f LUFS", m.Levels.IntegratedLUFS)
	}
	fmt.Fprintf(&b, "sample peak %s dBFS, true peak %s dBTP, %s, bus gain %.1f dB\n",
		fixed(m.Levels.SamplePeakDBFS, 1), fixed(m.Levels.TruePeakDBTP, 1), loud, m.BusGainDB+m.GainDB)
	for _, p := range m.Written {
		fmt.Fprintf(&b, "wrote %s\n", Printable(p))
	}
	_, err := io.WriteString(w, b.String())
	return err
}
