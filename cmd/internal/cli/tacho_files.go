package cli

import (
	"bytes"
	"errors"
	"fmt"
	"path/filepath"

	"tachbench/cmd/internal/plot"
	"tachbench/cmd/internal/report"
	"tachbench/samples"
	"tachbench/samples/crank"
	"tachbench/samples/file"
)

// drawing is the picture of a recording, nil if none is wanted.
func drawing(job tachoJob, sound *samples.Sound, track *crank.Track, layout crank.Layout, o tachoOptions) *plot.Spectrogram {
	if job.svg == "" {
		return nil
	}
	return &plot.Spectrogram{Title: filepath.Base(job.path), Sound: sound, Track: track, Layout: layout, LogHz: o.logHz}
}

// writeTachoFiles writes the picture and the curve of one recording.
func writeTachoFiles(job tachoJob, r *report.Tacho, p *plot.Spectrogram, force bool) error {
	var errs []error
	write := func(path string, data []byte) {
		if err := file.WriteBytes(path, data, force); err != nil {
			errs = append(errs, err)
			return
		}
		r.Written = append(r.Written, path)
	}
	if p != nil && p.Sound.Frames() > 0 {
		if svg, err := p.SVG(); err != nil {
			errs = append(errs, fmt.Errorf("%s: %w", job.path, err))
		} else {
			write(job.svg, svg)
		}
	}
	if job.csv != "" && r.Track != nil {
		var buf bytes.Buffer
		// A bytes.Buffer never fails to write.
		_ = report.WriteCurve(&buf, r.Track)
		write(job.csv, buf.Bytes())
	}
	return errors.Join(errs...)
}
