package report

import (
	"fmt"
	"io"
	"math"
	"strings"

	"tachbench/mixplan/engine"
	"tachbench/samples/bank"
)

// Render is what render has to tell.
type Render struct {
	Sheet, Path    string
	RateHz         int
	BitDepth       int
	Channels       int
	LengthS        float64
	FromRPM, ToRPM float64 // of what was asked for
	PeakDBFS       float64
	GainDB         float64
	Coverage       bank.Coverage
	Facts          []engine.Fact
	Warnings       []string
	Written        []string
}

// RenderDocument is what `render --json` prints.
type RenderDocument struct {
	Version    int               `json:"version"`
	Path       string            `json:"path"`
	RateHz     int               `json:"sample_rate_hz"`
	BitDepth   int               `json:"bit_depth"`
	Channels   int               `json:"channels"`
	DurationS  Number            `json:"duration_s"`
	RPMMin     Number            `json:"rpm_min"`
	RPMMax     Number            `json:"rpm_max"`
	PeakDBFS   Number            `json:"sample_peak_dbfs"`
	GainDB     Number            `json:"gain_db"`
	Recordings []RecordingObject `json:"recordings"`
	Coverage   []LayerObject     `json:"coverage"`
	Advice     []string          `json:"record_next"`
	Warnings   []string          `json:"warnings"`
	Written    []string          `json:"written"`
}

// RecordingObject is one recording of the bank.
type RecordingObject struct {
	Path       string `json:"path"`
	Load       Number `json:"load"`
	DurationS  Number `json:"duration_s"`
	RPMMedian  Number `json:"rpm_median"`
	RPMMin     Number `json:"rpm_min"`
	RPMMax     Number `json:"rpm_max"`
	Confidence Number `json:"confidence"`
}

// LayerObject is the coverage of one load.
type LayerObject struct {
	Load       Number         `json:"load"`
	RPMMin     Number         `json:"rpm_min"`
	RPMMax     Number         `json:"rpm_max"`
	WorstPct   Number         `json:"stretch_max_percent"`
	BeyondPct  Number         `json:"beyond_limit_percent"`
	LimitPct   Number         `json:"stretch_limit_percent"`
	Regions    []RegionObject `json:"regions"`
	GrainCount int            `json:"cycles"`
}

// RegionObject is a range of revs that rests on the same recordings.
type RegionObject struct {
	FromRPM    Number   `json:"from_rpm"`
	ToRPM      Number   `json:"to_rpm"`
	Recordings []string `json:"recordings"`
	StretchPct Number   `json:"stretch_max_percent"`
}

// JSON gives the document of a render.
func (r Render) JSON() RenderDocument {
	d := RenderDocument{
		Version: Version, Path: r.Path, RateHz: r.RateHz, BitDepth: r.BitDepth, Channels: r.Channels,
		DurationS: Round(r.LengthS, 4), RPMMin: Round(r.FromRPM, 1), RPMMax: Round(r.ToRPM, 1),
		PeakDBFS: Round(r.PeakDBFS, 2), GainDB: Round(r.GainDB, 2),
		Recordings: []RecordingObject{}, Coverage: []LayerObject{},
		Advice: orEmpty(r.Coverage.Advice), Warnings: orEmpty(r.Warnings), Written: orEmpty(r.Written),
	}
	for _, f := range r.Facts {
		d.Recordings = append(d.Recordings, RecordingObject{f.Name, Round(f.Load, 2), Round(f.LengthS, 3),
			Round(f.MedianRPM, 1), Round(f.MinRPM, 0), Round(f.MaxRPM, 0), Round(f.Confidence, 2)})
	}
	for _, l := range r.Coverage.Layers {
		o := LayerObject{Round(l.Load, 2), Round(l.FromRPM, 0), Round(l.ToRPM, 0), Round(l.Worst, 1),
			Round(100*l.Stretchy, 1), Round(100*bank.ResampleLimit, 1), []RegionObject{}, l.Grains}
		for _, g := range l.Regions {
			o.Regions = append(o.Regions, RegionObject{Round(g.FromRPM, 0), Round(g.ToRPM, 0), orEmpty(g.Recordings), Round(g.StretchPercent, 1)})
		}
		d.Coverage = append(d.Coverage, o)
	}
	return d
}

func orEmpty(s []string) []string {
	if s == nil {
		return []string{}
	}
	return s
}

// RenderText writes the result of a render for people: what it rests on,
// what is missing, and last what was made.
func RenderText(w io.Writer, r Render) error {
	if err := recordingTable(w, r.Facts); err != nil {
		return err
	}
	var b strings.Builder
	b.WriteString("\n")
	writeCoverage(&b, r.Coverage)
	channels := "mono"
	if r.Channels == 2 {
		channels = "stereo"
	}
	revs := fmt.Sprintf("%.0f to %.0f RPM", r.FromRPM, r.ToRPM)
	if math.Round(r.FromRPM) == math.Round(r.ToRPM) {
		revs = fmt.Sprintf("%.0f RPM", r.FromRPM)
	}
	fmt.Fprintf(&b, "\n%.2f s at %s, %d Hz, %d bit, %s, sample peak %.1f dBFS\n", r.LengthS, revs, r.RateHz, r.BitDepth, channels, r.PeakDBFS)
	for _, p := range r.Written {
		fmt.Fprintf(&b, "wrote %s\n", Printable(p))
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func recordingTable(w io.Writer, facts []engine.Fact) error {
	t := newTable([]column{{name: "file"}, {"load", ""}, {"length", "s"}, {"median", "RPM"}, {"lowest", "RPM"}, {"highest", "RPM"}, {"confidence", ""}})
	for _, f := range facts {
		t.row(shorten(f.Name, 30), fixed(f.Load, 2), fixed(f.LengthS, 2), fixed(f.MedianRPM, 1), fixed(f.MinRPM, 0), fixed(f.MaxRPM, 0), withWord(f.Confidence))
	}
	return t.write(w)
}

// writeCoverage says what the recordings can and cannot do.
func writeCoverage(b *strings.Builder, c bank.Coverage) {
	fmt.Fprintf(b, "Coverage from idle %.0f to redline %.0f RPM\n", c.IdleRPM, c.RedlineRPM)
	for _, l := range c.Layers {
		fmt.Fprintf(b, "  load %.2f: %d cycles from %.0f to %.0f RPM; ", l.Load, l.Grains, l.FromRPM, l.ToRPM)
		if l.Stretchy == 0 {
			fmt.Fprintf(b, "never stretched by more than %.1f %%\n", math.Max(0.1, l.Worst))
		} else {
			fmt.Fprintf(b, "stretched by more than %.0f %% over %.0f %% of the range\n", 100*bank.ResampleLimit, math.Max(1, 100*l.Stretchy))
		}
		for _, g := range l.Regions {
			rests := "no recording near"
			if len(g.Recordings) > 0 {
				rests = strings.Join(g.Recordings, ", ")
			}
			line := fmt.Sprintf("%5.0f to %5.0f RPM  %s", g.FromRPM, g.ToRPM, rests)
			if len(g.Recordings) == 0 {
				line += fmt.Sprintf(", stretched up to %.0f %%", g.StretchPercent)
			}
			for i, part := range strings.Split(Wrap(line, 90), "\n") {
				if i > 0 {
					part = "                    " + part
				}
				b.WriteString("    " + part + "\n")
			}
		}
	}
	if len(c.Advice) > 0 {
		b.WriteString("Record next\n")
		for _, a := range c.Advice {
			b.WriteString("  - " + strings.ReplaceAll(Wrap(a, 92), "\n", "\n    ") + "\n")
		}
	}
}
