package cli

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sync/atomic"

	"github.com/gopxl/beep/v2"

	"tachbench/mixplan/listen"
	"tachbench/mixplan/scene"
	"tachbench/samples"
	"tachbench/samples/file"
	"tachbench/samples/wav"
	"tachbench/synth/revs"
)

// programme is the bench with a lever worked from a file, and an end. It is a
// beep.Streamer whose samples do not depend on how it is asked for them.
type programme struct {
	bench  *listen.Bench
	lib    *scene.Library
	rateHz int
	source beep.Streamer // the bench

	rows    []leverRow
	dropped atomic.Bool // the rows count no more
	frame   int64
	end     int64         // frames, negative: none
	fade    int64         // frames before the end
	rest    int64         // frames of silence after the end until ended is closed
	ended   chan struct{} // all is heard
	guard   func()        // runs before a panic goes on
}

// leverRow moves the lever at a frame.
type leverRow struct {
	at      int64
	pressed float64
}

const (
	// programmeFadeS takes the click off a sound that is ended midway.
	programmeFadeS = 0.01
	// programmeRestS is longer than what lies in any device's buffers.
	programmeRestS = 0.3
)

func newProgramme(b *listen.Bench, lib *scene.Library, rateHz int) *programme {
	return &programme{
		bench: b, lib: lib, rateHz: rateHz, source: b, end: -1,
		rest: int64(programmeRestS * float64(rateHz)), ended: make(chan struct{}), guard: func() {},
	}
}

func (p *programme) frames(seconds float64) int64 {
	return int64(math.Round(seconds * float64(p.rateHz)))
}

// work moves the lever at the times of its rows.
func (p *programme) work(l revs.Lever) {
	for i, t := range l.TimeS {
		p.rows = append(p.rows, leverRow{p.frames(t), l.Pressed[i]})
	}
}

// drop takes the lever out of the file's hands. It may be called while the
// programme plays.
func (p *programme) drop() { p.dropped.Store(true) }

// endAt ends after frames, where the sound ends by itself.
func (p *programme) endAt(frames int64) { p.end = frames }

// endAfter ends after seconds, wherever that is.
func (p *programme) endAfter(seconds float64) {
	p.end = max(1, p.frames(seconds))
	p.fade = min(p.end, p.frames(programmeFadeS))
}

// Stream fills samples: the bench until the end, then silence.
func (p *programme) Stream(samples [][2]float64) (int, bool) {
	defer func() {
		if r := recover(); r != nil {
			p.guard()
			panic(r)
		}
	}()
	for rest := samples; len(rest) > 0; {
		if p.dropped.Load() {
			p.rows = nil
		}
		for len(p.rows) > 0 && p.rows[0].at <= p.frame {
			p.bench.Lever(p.rows[0].pressed)
			p.rows = p.rows[1:]
		}
		n := int64(len(rest))
		if len(p.rows) > 0 {
			n = min(n, p.rows[0].at-p.frame)
		}
		switch {
		case p.end < 0:
			p.source.Stream(rest[:n])
		case p.frame < p.end:
			n = min(n, p.end-p.frame)
			p.source.Stream(rest[:n])
			p.fadeOut(rest[:n])
		default:
			clear(rest[:n])
			if before := p.end + p.rest - p.frame; before > 0 && before <= n {
				close(p.ended)
			}
		}
		p.frame += n
		rest = rest[n:]
	}
	return len(samples), true
}

func (p *programme) fadeOut(block [][2]float64) {
	for i := range block {
		if left := p.end - p.frame - int64(i); left <= p.fade {
			g := float64(left-1) / float64(p.fade)
			block[i][0] *= g
			block[i][1] *= g
		}
	}
}

// Err returns nil.
func (p *programme) Err() error { return nil }

// record writes the programme into a file, whole or not at all.
func (j *previewJob) record(ctx context.Context, s Streams, p *programme) error {
	out, err := file.Create(j.o.to, j.o.force)
	if err != nil {
		return err
	}
	defer out.Abort()
	spec := wav.Spec{RateHz: p.rateHz, Channels: 2, BitDepth: 32, Float: true, Frames: p.end}
	w, err := wav.NewWriter(out, spec)
	if err != nil {
		return fileError(j.o.to, err)
	}
	block := make([][2]float64, 4096)
	planar := samples.NewSound(p.rateHz, 2, len(block)).Chans
	peak := 0.0
	for p.frame < p.end {
		if err := ctx.Err(); err != nil {
			return err
		}
		n := min(int64(len(block)), p.end-p.frame)
		p.Stream(block[:n])
		for i, f := range block[:n] {
			planar[0][i], planar[1][i] = f[0], f[1]
			peak = max(peak, math.Abs(f[0]), math.Abs(f[1]))
		}
		if err := w.Write([][]float64{planar[0][:n], planar[1][:n]}); err != nil {
			return fileError(j.o.to, err)
		}
	}
	if err := w.Close(); err != nil {
		return fileError(j.o.to, err)
	}
	if err := out.Commit(); err != nil {
		return err
	}
	level := "silent throughout"
	if peak > 0 {
		level = fmt.Sprintf("peak %.1f dBFS", samples.AmplitudeDB(peak))
	}
	_, err = fmt.Fprintf(s.Out, "%s, %.2f s, headphone volume %g dB, %s\nwrote %s\n",
		j.words(), float64(p.end)/float64(p.rateHz), j.o.volume, level, j.o.to)
	return outError(err)
}

// fileError puts the file's name before an error that does not bear it.
func fileError(path string, err error) error {
	var environment *file.EnvironmentError // names the file itself
	if errors.As(err, &environment) {
		return err
	}
	return fmt.Errorf("%s: %w", path, err)
}
