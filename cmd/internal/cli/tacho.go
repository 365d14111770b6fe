package cli

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"tachbench/analysis/tacho"
	"tachbench/cmd/internal/report"
	"tachbench/samples/crank"
	"tachbench/samples/file"
	"tachbench/samples/sheet"
)

// tachoOptions is what the flags of tacho say.
type tachoOptions struct {
	files     []string
	sheet     string
	cylinders int
	strokes   int
	angles    []float64
	fromRPM   float64
	toRPM     float64
	json      bool
	csv       string
	plot      string
	logHz     bool
	force     bool
}

func newTacho(s Streams, run func(context.Context, Streams, tachoOptions) error) *cobra.Command {
	var o tachoOptions
	cmd := &cobra.Command{
		Use:   "tacho FILE...",
		Short: "Read the RPM all along engine recordings",
		Long: `Reads the RPM all along recordings of one engine: holds, pulls, coast-downs.
Where no engine can be told, it says so instead of guessing.

The engine is described by --cylinders and --strokes (and --firing-angles if
it fires unevenly), or by a sound sheet. With a sheet and no FILE, all the
recordings of its engine are read.`,
		Example: `  tachbench tacho pull.wav --cylinders 2 --strokes 2 --plot pull.svg
  tachbench tacho hold-*.wav --cylinders 2 --strokes 4 --firing-angles 0,315
  tachbench tacho --sheet soundsheet.toml --json`,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.files = args
			return run(cmd.Context(), s, o)
		},
	}
	f := cmd.Flags()
	f.SortFlags = false
	f.Var(wholeValue{&o.cylinders, "N"}, "cylinders", "number of cylinders, 1 to 16")
	f.Var(wholeValue{&o.strokes, "N"}, "strokes", "strokes per engine cycle, 2 or 4")
	f.Var(numbersValue{&o.angles, "DEG,..."}, "firing-angles", "crank degrees of the firings in one cycle;\neven if left out")
	f.StringVar(&o.sheet, "sheet", "", "take the engine from this sound `SHEET`")
	f.Var(numberValue{&o.fromRPM, "RPM"}, "rpm-from", "hint: lowest revs that occur")
	f.Var(numberValue{&o.toRPM, "RPM"}, "rpm-to", "hint: highest revs that occur")
	f.BoolVar(&o.json, "json", false, "print one JSON document instead of tables")
	f.StringVar(&o.csv, "csv", "", "write the known RPM as time_s,rpm rows, a curve\nfor a render; `FILE`, or a folder for several")
	f.StringVar(&o.plot, "plot", "", "draw the spectrogram with the orders over it;\n`FILE.svg`, or a folder for several")
	f.BoolVar(&o.logHz, "plot-log", false, "logarithmic frequency axis in the picture")
	f.BoolVar(&o.force, "force", false, "replace files that exist")
	return cmd
}

// tachoJob is one recording to read and where its results go.
type tachoJob struct {
	path     string
	opt      tacho.Options
	csv, svg string // "" for none
}

func runTacho(ctx context.Context, s Streams, o tachoOptions) error {
	layout, jobs, err := tachoJobs(o)
	if err != nil {
		return err
	}
	bar := newProgress(s, len(jobs), o.json)
	doc := report.TachoDocument{Version: report.Version, Files: []report.TachoFile{}, Unreadable: []report.Unreadable{}}
	var done []report.Tacho
	var failed []error
	for _, job := range jobs {
		result, err := tachoOne(ctx, job, layout, o)
		bar.step()
		switch {
		case errors.Is(err, context.Canceled):
			bar.end()
			return err
		case err != nil:
			failed = append(failed, err)
		}
		if result == nil {
			doc.Unreadable = append(doc.Unreadable, report.Unreadable{Path: job.path, Error: strings.TrimPrefix(err.Error(), job.path+": ")})
			continue
		}
		done = append(done, *result)
		if o.json {
			doc.Files = append(doc.Files, result.JSON())
		}
	}
	bar.end()
	for _, r := range done {
		if r.Damage != nil {
			s.complain(fmt.Errorf("warning: %w", r.Damage))
		}
	}
	if o.json {
		err = report.WriteJSON(s.Out, doc)
	} else {
		err = printTacho(s, done)
	}
	if err != nil {
		return outError(err)
	}
	for _, r := range done {
		for _, path := range r.Written {
			s.note("wrote " + path)
		}
	}
	if len(failed) == 0 {
		return nil
	}
	for _, err := range failed {
		s.complain(err)
	}
	return reportedError{errors.Join(failed...)}
}

// tachoOne reads one recording and writes its files. The result is nil when
// the sound could not be read; it has no Track when there is no engine.
// Errors begin with the path they are about.
func tachoOne(ctx context.Context, job tachoJob, layout crank.Layout, o tachoOptions) (*report.Tacho, error) {
	var result *report.Tacho
	err := attend(ctx, func() error {
		sound, _, err := file.Load(job.path)
		if sound == nil {
			return err
		}
		r := report.Tacho{Path: job.path, LengthS: sound.DurationS(), Damage: err}
		var track *crank.Track
		if sound.Frames() == 0 {
			err = errors.New("there is no sound in it (0 frames)")
		} else if track, err = tacho.Track(sound, layout, job.opt); err == nil {
			r.Track = track
		}
		if err != nil {
			err = fmt.Errorf("%s: %w", job.path, err)
			track = &crank.Track{HopS: 1} // draws the sound alone
		}
		err = errors.Join(err, writeTachoFiles(job, &r, drawing(job, sound, track, layout, o), o.force))
		result = &r
		return err
	})
	if errors.Is(err, context.Canceled) {
		return nil, err
	}
	return result, err
}

func printTacho(s Streams, done []report.Tacho) error {
	if len(done) == 0 {
		return nil
	}
	if len(done) == 1 && done[0].Track != nil {
		if err := report.TachoTrackTable(s.Out, done[0]); err != nil {
			return err
		}
		if _, err := fmt.Fprintln(s.Out); err != nil {
			return err
		}
	}
	if err := report.TachoTable(s.Out, done); err != nil {
		return err
	}
	for _, r := range done {
		if advice := report.TachoAdvice(r); advice != "" {
			if _, err := fmt.Fprintln(s.Out, "\n"+report.Wrap(advice, 80)); err != nil {
				return err
			}
		}
	}
	return nil
}

// tachoJobs checks the options and lays out the work, so that nothing is
// begun that could be seen to fail.
func tachoJobs(o tachoOptions) (crank.Layout, []tachoJob, error) {
	layout, jobs, err := tachoEngine(o)
	if err != nil {
		return layout, nil, err
	}
	given, err := flagHints(o.fromRPM, o.toRPM)
	if err != nil {
		return layout, nil, err
	}
	for i := range jobs {
		if o.fromRPM != 0 || o.toRPM != 0 {
			jobs[i].opt = given
		}
	}
	for _, kind := range []struct {
		flag, target, suffix string
		set                  func(*tachoJob, string)
	}{
		{"--csv", o.csv, ".csv", func(j *tachoJob, p string) { j.csv = p }},
		{"--plot", o.plot, ".svg", func(j *tachoJob, p string) { j.svg = p }},
	} {
		if kind.target == "" {
			continue
		}
		var inputs []string
		for _, j := range jobs {
			inputs = append(inputs, j.path)
		}
		outs, err := outputs(kind.flag, kind.target, kind.suffix, inputs, o.force)
		if err != nil {
			return layout, nil, err
		}
		for i := range jobs {
			kind.set(&jobs[i], outs[i])
		}
	}
	return layout, jobs, nil
}

// flagHints turns --rpm-from and --rpm-to into the tracker's range. A
// coast-down may be written the way it runs, from high to low.
func flagHints(from, to float64) (tacho.Options, error) {
	for _, v := range []float64{from, to} {
		if v != 0 && (v < lowestHint || v > highestHint) {
			return tacho.Options{}, fmt.Errorf("tacho: --rpm-from and --rpm-to must lie within %g to %g RPM, not %g", lowestHint, highestHint, v)
		}
	}
	if from != 0 && to != 0 {
		return widened(math.Min(from, to), math.Max(from, to), 0.1), nil
	}
	opt := tacho.Options{}
	if from != 0 {
		opt = widened(from, tacho.HighestRPM, 0.1)
		opt.MaxRPM = math.Max(tacho.HighestRPM, math.Min(2*from, highestHint))
	}
	if to != 0 {
		opt = widened(tacho.LowestRPM, to, 0.1)
		opt.MinRPM = math.Min(tacho.LowestRPM, math.Max(to/2, lowestHint))
	}
	return opt, nil
}

// tachoEngine finds the engine and the recordings, in the flags or in a
// sheet.
func tachoEngine(o tachoOptions) (crank.Layout, []tachoJob, error) {
	var jobs []tachoJob
	for _, path := range o.files {
		jobs = append(jobs, tachoJob{path: path})
	}
	if o.sheet == "" {
		layout := crank.Layout{Cylinders: o.cylinders, Strokes: o.strokes, Firing: o.angles}
		switch {
		case o.cylinders == 0 && o.strokes == 0:
			return layout, nil, errors.New("tacho: which engine? Give --cylinders and --strokes, or --sheet SHEET")
		case o.cylinders == 0:
			return layout, nil, errors.New("tacho: --cylinders is missing (1 to 16)")
		case o.strokes == 0:
			return layout, nil, errors.New("tacho: --strokes is missing (2 or 4)")
		case len(jobs) == 0:
			return layout, nil, errors.New("tacho: no recording named; give one or more FILEs")
		}
		if err := layout.Validate(); err != nil {
			return layout, nil, fmt.Errorf("tacho: %w", err)
		}
		return layout, jobs, nil
	}
	if o.cylinders != 0 || o.strokes != 0 || o.angles != nil {
		return crank.Layout{}, nil, errors.New("tacho: --sheet already says which engine; leave out --cylinders, --strokes and --firing-angles")
	}
	sh, err := loadSheet(o.sheet)
	if err != nil {
		return crank.Layout{}, nil, err
	}
	if sh.Engine == nil {
		return crank.Layout{}, nil, fmt.Errorf("%s: there is no [engine] in this sheet", o.sheet)
	}
	jobs = sheetJobs(sh, jobs)
	if len(jobs) == 0 {
		return crank.Layout{}, nil, fmt.Errorf("%s: the engine has no recordings ([[engine.recording]]); name a FILE", o.sheet)
	}
	return sh.Engine.Layout(), jobs, nil
}

// sheetJobs gives files that the sheet knows its hints; without files it
// takes all the sheet's recordings, each once.
func sheetJobs(sh *sheet.Sheet, named []tachoJob) []tachoJob {
	known := map[string]sheet.Recording{}
	var all []tachoJob
	for _, r := range sh.Engine.Recordings {
		if _, twice := known[r.File.Abs]; !twice {
			all = append(all, tachoJob{path: shortPath(r.File.Abs)})
		}
		known[r.File.Abs] = r
	}
	if len(named) == 0 {
		named = all
	}
	for i, j := range named {
		abs, err := filepath.Abs(j.path)
		if err != nil {
			continue // loading will say why
		}
		r, ok := known[abs]
		if !ok {
			continue
		}
		named[i].opt = hints(r)
	}
	return named
}

// hints are what the sheet knows about the revs of a recording. A single
// rpm_from or rpm_to does not bound the revs and is left alone.
func hints(r sheet.Recording) tacho.Options {
	switch {
	case r.RPM != nil:
		return widened(*r.RPM, *r.RPM, 0.2)
	case r.RPMFrom != nil && r.RPMTo != nil:
		return widened(math.Min(*r.RPMFrom, *r.RPMTo), math.Max(*r.RPMFrom, *r.RPMTo), 0.1)
	}
	return tacho.Options{}
}

// The revs that a sheet accepts, and the tracker too.
const lowestHint, highestHint = 60.0, 30000.0

// widened opens a range by a share at both ends: people round, and the
// tracker reports nothing outside its range.
func widened(lo, hi, share float64) tacho.Options {
	return tacho.Options{MinRPM: math.Max(lo*(1-share), lowestHint), MaxRPM: math.Min(hi*(1+share), highestHint)}
}

// shortPath is abs as seen from the working folder, if it lies inside.
func shortPath(abs string) string {
	wd, err := os.Getwd()
	if err != nil {
		return abs
	}
	rel, err := filepath.Rel(wd, abs)
	if err != nil || strings.HasPrefix(rel, "..") {
		return abs
	}
	return rel
}
