package engine

import (
	"errors"
	"fmt"

	"tachbench/samples"
	"tachbench/samples/file"
	"tachbench/samples/resample"
	"tachbench/samples/sheet"
)

// belowIdle is how far under idle the revs of a recording without hints are
// still looked for: a cold engine, one about to stall.
const belowIdle = 0.8

// Load reads the recordings that a sheet names and prepares its engine.
//
// Every recording that cannot be read, or in which no engine is found, is an
// error of its own, and any of them fails the load: a note from half of the
// recordings would not be what the sheet asks for. A recording that breaks
// off is used as far as it is good; the warnings say so.
func Load(sh *sheet.Sheet) (e *Engine, warnings []error, err error) {
	if sh.Engine == nil {
		return nil, nil, fmt.Errorf("%s: no [engine]; a note needs cylinders, strokes, idle_rpm, redline_rpm and recordings", sh.File)
	}
	if len(sh.Engine.Recordings) == 0 {
		return nil, nil, sh.Errorf("engine", "no recordings; add at least one [[engine.recording]] with a file")
	}
	var recs []Recording
	var errs []error
	for _, r := range sh.Engine.Recordings {
		s, _, err := file.Load(r.File.Abs)
		var broken *samples.TruncatedError
		switch {
		case err != nil && errors.As(err, &broken) && s != nil && s.Frames() > 0:
			warnings = append(warnings, err)
		case err != nil:
			errs = append(errs, err)
			continue
		case s.Frames() == 0:
			errs = append(errs, fmt.Errorf("%s: there is no sound in it", r.File.Rel))
			continue
		case s.Channels() > 2:
			errs = append(errs, fmt.Errorf("%s: %d channels; engine recordings must be mono or stereo", r.File.Rel, s.Channels()))
			continue
		}
		if err := resample.Check(s.RateHz, sh.SampleRateHz); err != nil {
			errs = append(errs, fmt.Errorf("%s: %w", r.File.Rel, err))
			continue
		}
		rec := Recording{Name: r.File.Rel, Sound: s, Load: r.Load}
		for _, v := range []struct {
			from *float64
			to   *float64
		}{{r.RPM, &rec.RPM}, {r.RPMFrom, &rec.FromRPM}, {r.RPMTo, &rec.ToRPM}} {
			if v.from != nil {
				*v.to = *v.from
			}
		}
		if rec.RPM == 0 && rec.FromRPM == 0 && rec.ToRPM == 0 {
			rec.FromRPM, rec.ToRPM = belowIdle*sh.Engine.IdleRPM, sh.Engine.RedlineRPM
		}
		recs = append(recs, rec)
	}
	if len(errs) > 0 {
		return nil, warnings, errors.Join(errs...)
	}
	e, err = Prepare(sh.Layout(), sh.SampleRateHz, recs)
	if err != nil {
		return nil, warnings, err
	}
	return e, warnings, nil
}
