package defect

import (
	"math"

	"tachbench/samples"
)

// How a flat top is told from the round top of a clean wave.
//
// A round top is a parabola as far as quantisation can see. If n samples in a
// row lie within q of the highest one, the top is about n/2 samples wide on
// each side, and half as far again outside of the run it has fallen by 4q, at
// most 9q for a run of three that is placed badly. That holds for every
// frequency: a full-scale 20 Hz sine at 16 bit rests on its top for 5 samples
// and still falls by few steps beside it. A cut wave falls from the edge of the
// run with the slope it had when it was cut. So a run counts as a flat top when
// both sides fall by more than topFall·q within half a run.
const (
	topFall  = 16
	topReach = 32 // samples looked at beside a run, at most
	// A fall that happens in one step is the edge of a square wave or of a
	// sample-and-hold, not a cut wave.
	stepShare = 0.9
)

// fullScaleStep is the distance of the largest 16-bit integer from 1. Files of
// more bits are often made from 16, so it is used for them too.
const fullScaleStep = 1.0 / 32768

// clip looks for flat tops at the highest level on either rail.
type clip struct {
	up, down           rail
	run, places, flats int
	flatMin, fullTop   float64
	q, tolerance       float64
}

// rail is one side of a channel: the positive or the mirrored negative one.
type rail struct {
	sign    float64
	top     float64 // highest value so far
	n       int     // length of the run that is open, 0 = none
	start   int64   // its first frame
	before  [topReach]float64
	places  int // flat tops with slopes
	square  int // flat tops with single-step edges
	samples int
	longest int
	at      int64 // first flat top
}

func newClip(step float64, opt Options) clip {
	c := clip{
		up: rail{sign: 1, top: math.Inf(-1)}, down: rail{sign: -1, top: math.Inf(-1)},
		run: int(opt.Limit("clip_run")), places: int(opt.Limit("clip_places")), flats: int(opt.Limit("flat_places")),
		flatMin: samples.DBAmplitude(opt.Limit("flat_min_dbfs")),
		fullTop: 1 - 1.5*max(step, fullScaleStep),
		// One step of tolerance for dither, none at 8 bit where a step is coarse.
		tolerance: 1.5 * step,
	}
	if step > 1.0/1024 {
		c.tolerance = 0.5 * step
	}
	c.q = c.tolerance + 0.5*step
	return c
}

// process looks at m samples from buf[i], which are at frame pos.
func (c *clip) process(buf []float64, i, m int, pos int64, t *tick) {
	c.up.process(c, buf, i, m, pos, t.hi)
	c.down.process(c, buf, i, m, pos, -t.lo)
}

func (r *rail) process(c *clip, buf []float64, i, m int, pos int64, highest float64) {
	if highest < r.top-c.tolerance {
		if r.n > 0 {
			r.close(c, buf, i)
		}
		return
	}
	for k := i; k < i+m; k++ {
		v := r.sign * buf[k]
		if v < r.top-c.tolerance {
			if r.n > 0 {
				r.close(c, buf, k)
			}
			continue
		}
		if v > r.top+c.tolerance { // all that was below does not count any more
			*r = rail{sign: r.sign, top: v, before: r.before}
		}
		r.top = max(r.top, v)
		if r.n == 0 {
			r.start = pos + int64(k-i)
		}
		r.n++
		if r.n == 2 {
			for j := range r.before {
				r.before[j] = r.sign * buf[k-2-j]
			}
		}
	}
}

// close ends the open run; buf[k] is the first sample after it.
func (r *rail) close(c *clip, buf []float64, k int) {
	n := r.n
	r.n = 0
	if n < c.run {
		return
	}
	reach := min(max((n+1)/2, 2), topReach)
	fallL, stepL := fall(r.top, reach, func(j int) float64 { return r.before[j] })
	fallR, stepR := fall(r.top, reach, func(j int) float64 { return r.sign * buf[k+j] })
	if min(fallL, fallR) < topFall*c.q {
		return
	}
	if stepL > stepShare*fallL && stepR > stepShare*fallR {
		r.square++
		return
	}
	if r.places == 0 {
		r.at = r.start
	}
	r.places++
	r.samples += n
	r.longest = max(r.longest, n)
}

// fall returns how far the wave falls under top within reach samples, and the
// largest single step on the way.
func fall(top float64, reach int, x func(int) float64) (fall, step float64) {
	prev := top
	for j := range reach {
		v := x(j)
		fall = max(fall, top-v)
		step = max(step, math.Abs(prev-v))
		prev = v
	}
	return fall, step
}

// squareShare: with fewer sloped tops than this among all, the wave is a square
// wave whose edges now and then hold a sample in between.
const squareShare = 0.2

func (c *clip) findings(channel int, rateHz float64) []Finding {
	var out []Finding
	var full, flat rail // both rails together
	add := func(to *rail, r *rail) {
		if to.places == 0 || r.at < to.at {
			to.at = r.at
		}
		to.places += r.places
		to.samples += r.samples
		to.longest = max(to.longest, r.longest)
		to.top = max(to.top, r.top)
	}
	for _, r := range []*rail{&c.up, &c.down} {
		if r.places == 0 || float64(r.places) < squareShare*float64(r.places+r.square) {
			continue
		}
		switch {
		case r.top >= c.fullTop:
			add(&full, r)
		case r.top >= c.flatMin && r.places >= c.flats:
			add(&flat, r)
		}
	}
	if full.places >= c.places {
		out = append(out, found("clipped", float64(full.at)/rateHz, channel,
			reading{value: float64(full.longest), limit: float64(c.run), unit: "samples"},
			"%s cut flat at full scale, the longest %d samples.", plural(int64(full.places), "top is", "tops are"), full.longest))
	}
	if flat.places > 0 {
		out = append(out, found("clipped-then-turned-down", float64(flat.at)/rateHz, channel,
			reading{value: float64(flat.places), limit: float64(c.flats), unit: "places"},
			"%d tops are cut flat at %.2f dBFS, and nothing in the file goes higher; the longest is %d samples.",
			flat.places, samples.AmplitudeDB(flat.top), flat.longest))
	}
	return out
}
