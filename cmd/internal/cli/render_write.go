package cli

import (
	"bytes"
	"fmt"
	"path/filepath"

	"tachbench/cmd/internal/plot"
	"tachbench/cmd/internal/report"
	"tachbench/mixplan/engine"
	"tachbench/samples/crank"
	"tachbench/samples/file"
	"tachbench/samples/sheet"
	"tachbench/samples/wav"
	"tachbench/synth/curve"
)

// write renders the note into its file, and draws and saves what else was
// asked for. Everything is made before the first file appears.
func (o renderOptions) write(sh *sheet.Sheet, eng *engine.Engine, revs *curve.Curve) (report.Render, error) {
	b := eng.Bank
	take := eng.Render(revs, o.seed)
	r := report.Render{
		Sheet: o.sheet, Path: o.out, RateHz: b.RateHz, BitDepth: sh.BitDepth, Channels: b.Channels,
		LengthS: take.Sound.DurationS(), PeakDBFS: take.PeakDBFS, GainDB: take.GainDB,
		Coverage: b.Coverage(sh.Engine.IdleRPM, sh.Engine.RedlineRPM), Facts: eng.Facts,
	}
	r.FromRPM, r.ToRPM = revs.RangeRPM()
	lo, hi := b.ReachRPM()
	r.Warnings = rangeWarnings(revs, sh.Engine.IdleRPM, sh.Engine.RedlineRPM, lo, hi, take.HeldS)
	r.Warnings = append(r.Warnings, trackWarnings(eng.Facts)...)
	if take.GainDB < 0 {
		r.Warnings = append(r.Warnings, fmt.Sprintf("the recordings would run over full scale here; the whole note was turned down by %.1f dB", -take.GainDB))
	}
	var picture, rows []byte
	if o.plot != "" {
		p := plot.Spectrogram{
			Title: filepath.Base(o.out), Sound: take.Sound, Layout: sh.Layout(), LogHz: o.logHz,
			Track: curveTrack(revs), Tracked: "requested",
		}
		var err error
		if picture, err = p.SVG(); err != nil {
			return r, fmt.Errorf("--plot %s: %w", o.plot, err)
		}
	}
	if o.save != "" {
		rows = curveRows(revs)
	}
	spec := wav.Spec{BitDepth: sh.BitDepth, Seed: o.seed}
	if err := file.WriteSound(o.out, take.Sound, spec, o.force); err != nil {
		return r, err
	}
	r.Written = append(r.Written, o.out)
	for _, out := range []struct {
		path string
		data []byte
	}{{o.plot, picture}, {o.save, rows}} {
		if out.path == "" {
			continue
		}
		if err := file.WriteBytes(out.path, out.data, o.force); err != nil {
			return r, err
		}
		r.Written = append(r.Written, out.path)
	}
	return r, nil
}

// curveTrack is the curve as points for the picture.
func curveTrack(c *curve.Curve) *crank.Track {
	const hop = 0.01
	t := &crank.Track{HopS: hop}
	for i := 0; float64(i)*hop <= c.DurationS(); i++ {
		rpm, _ := c.At(float64(i) * hop)
		t.RPM = append(t.RPM, rpm)
	}
	return t
}

// curveRows is the curve as a file that --curve reads again.
func curveRows(c *curve.Curve) []byte {
	var buf bytes.Buffer
	buf.WriteString("time_s,rpm,load\n")
	for _, p := range c.Points() {
		fmt.Fprintf(&buf, "%.4f,%.2f,%.4f\n", p.TimeS, p.RPM, p.Load)
	}
	return buf.Bytes()
}
