package cli

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"unicode"

	"tachbench/cmd/internal/report"
	"tachbench/mixplan"
	"tachbench/mixplan/engine"
	"tachbench/mixplan/render"
	"tachbench/mixplan/scene"
	"tachbench/samples/file"
	"tachbench/samples/sheet"
	"tachbench/samples/wav"
)

// write renders the scene into its files, a second time and turned down if it
// was over full scale. Nothing appears before all is made.
func (o mixOptions) write(ctx context.Context, sh *sheet.Sheet, tl *scene.Timeline, eng *engine.Engine, plan *mixplan.Plan, r *report.Mix) error {
	channels := render.Channels(tl, eng)
	stems, err := o.stemPaths(tl.Categories())
	if err != nil {
		return err
	}
	*r = report.Mix{
		Path: o.out, Scene: tl.Name, Plan: o.plan, RateHz: tl.RateHz, BitDepth: sh.BitDepth, Channels: channels,
		LengthS: float64(tl.Frames) / float64(tl.RateHz), Warnings: r.Warnings,
	}
	if plan != nil {
		r.BusGainDB = plan.BusGainDB
	}
	for _, e := range tl.Events {
		r.Events = append(r.Events, report.MixEvent{Event: e, TrimDB: plan.TrimDB(e.Category, e.Path)})
	}
	p, err := o.pass(ctx, sh, tl, eng, plan, channels, stems, 0)
	if err != nil {
		return err
	}
	if over := p.mix.Levels().TruePeakDBTP; p.mix.Levels().TurnDownDB() < 0 {
		r.GainDB = p.mix.Levels().TurnDownDB()
		p.abort()
		r.Warnings = append(r.Warnings, fmt.Sprintf("the mix runs over full scale, to %+.1f dBTP; the whole of it was turned down by %.1f dB, as the machine must do too (bus_gain_db = %.1f in a plan)",
			over, -r.GainDB, math.Floor((r.BusGainDB+r.GainDB)*10)/10))
		if p, err = o.pass(ctx, sh, tl, eng, plan, channels, stems, r.GainDB); err != nil {
			return err
		}
	}
	defer p.abort()
	r.Levels = p.mix.Levels()
	for i, b := range p.result.Buses {
		r.Buses = append(r.Buses, report.MixBus{Bus: b, Levels: p.stems[i].Levels()})
	}
	if p.result.HeldS > 0 {
		r.Warnings = append(r.Warnings, fmt.Sprintf("for %.2f s the revs asked for lie beyond what the recordings can give; the note was held there", p.result.HeldS))
	}
	r.Written, err = p.commit()
	return err
}

// pass is one render with its meters and files.
type pass struct {
	mix     *render.Meter
	stems   []*render.Meter // in the order of the categories
	files   []*file.Output
	writers []*wav.Writer
	result  *render.Result
}

func (o mixOptions) pass(ctx context.Context, sh *sheet.Sheet, tl *scene.Timeline, eng *engine.Engine, plan *mixplan.Plan, channels int, stems map[string]string, gainDB float64) (p *pass, err error) {
	p = &pass{}
	defer func() {
		if err != nil {
			p.abort()
		}
	}()
	spec := wav.Spec{RateHz: tl.RateHz, Channels: channels, BitDepth: sh.BitDepth, Seed: o.seed, Frames: tl.Frames}
	var mix render.Sink
	if p.mix, mix, err = p.open(o.out, spec, o.force); err != nil {
		return p, err
	}
	spec.BitDepth, spec.Float = 32, true
	sinks := map[string]render.Sink{}
	for _, c := range tl.Categories() {
		m, sink, err := p.open(stems[c], spec, o.force)
		if err != nil {
			return p, err
		}
		p.stems = append(p.stems, m)
		sinks[c] = sink
	}
	p.result, err = render.Run(ctx, tl, eng, render.Options{
		Plan: plan, Seed: o.seed, GainDB: gainDB, Mix: mix,
		Stem: func(category string) render.Sink { return sinks[category] },
	})
	return p, err
}

// open begins a file with a meter beside it; without a path only the meter.
func (p *pass) open(path string, spec wav.Spec, force bool) (*render.Meter, render.Sink, error) {
	m, err := render.NewMeter(spec.RateHz, spec.Channels)
	if err != nil || path == "" {
		return m, m, err
	}
	out, err := file.Create(path, force)
	if err != nil {
		return nil, nil, err
	}
	p.files = append(p.files, out)
	w, err := wav.NewWriter(out, spec)
	if err != nil {
		return nil, nil, err
	}
	p.writers = append(p.writers, w)
	return m, render.Tee(m, w), nil
}

func (p *pass) abort() {
	for _, f := range p.files {
		f.Abort()
	}
}

// commit gives all files their names.
func (p *pass) commit() ([]string, error) {
	for i, w := range p.writers {
		if err := w.Close(); err != nil {
			var environment *file.EnvironmentError // names the file itself
			if errors.As(err, &environment) {
				return nil, err
			}
			return nil, fmt.Errorf("%s: %w", p.files[i].Path(), err)
		}
	}
	var written []string
	for _, f := range p.files {
		if err := f.Commit(); err != nil {
			return written, err
		}
		written = append(written, f.Path())
	}
	return written, nil
}

// stemPaths names a file for each category and makes the folder.
func (o mixOptions) stemPaths(categories []string) (map[string]string, error) {
	if o.stems == "" {
		return nil, nil
	}
	paths := map[string]string{}
	taken := map[string]string{filepath.Clean(o.out): "the mix"}
	for _, c := range categories {
		path := filepath.Join(o.stems, fileName(c)+".wav")
		if other, twice := taken[path]; twice {
			return nil, fmt.Errorf("--stems %s: %s and category %q would both be written to %s", o.stems, other, c, path)
		}
		taken[path] = fmt.Sprintf("category %q", c)
		paths[c] = path
		if err := checkOutput("--stems", path, []string{o.sheet}, o.force); err != nil {
			return nil, err
		}
	}
	if err := os.MkdirAll(o.stems, 0o777); err != nil {
		return nil, environmentError{fmt.Errorf("--stems %s: cannot be made: %w", o.stems, bare(err))}
	}
	return paths, nil
}

// fileName makes a category's name one for a file.
func fileName(category string) string {
	s := strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) || strings.ContainsRune("-_. ", r) {
			return r
		}
		return '-'
	}, category)
	if strings.HasPrefix(s, ".") {
		s = "-" + s
	}
	return s
}
