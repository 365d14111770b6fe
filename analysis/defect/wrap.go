package defect

import "math"

// wrap looks for integer overflow that wrapped around: the wave rises over full
// scale, goes on at the bottom, and comes back the same way. Both jumps are
// needed, as a sawtooth has one of them, and a slope outside of them, as a
// square wave has none; a gentle one, as full-scale noise jumps everywhere.
type wrap struct {
	slope   float64 // slope needed outside of the jumps, a sample
	longest int64   // frames between the jumps at most
	open    int64   // frame of the first jump, -1 none
	up      bool    // the first jump went up
	count   int64
	at      int64
}

const (
	wrapJump     = 1.5 // size of a jump at least; the range is 2
	wrapLongestS = 0.005
	wrapSteps    = 2 // quantisation steps of slope
	wrapSlope    = 0.003
	wrapGentle   = 0.25 // largest step outside of the jumps
)

func newWrap(step, rateHz float64) wrap {
	return wrap{slope: max(wrapSteps*step, wrapSlope), longest: int64(wrapLongestS * rateHz), open: -1}
}

// process looks at m samples from buf[i], which are at frame pos.
func (w *wrap) process(buf []float64, i, m int, pos int64, t *tick) {
	if t.d1Max < wrapJump {
		return
	}
	for k := i; k < i+m; k++ {
		d := buf[k] - buf[k-1]
		if d > -wrapJump && d < wrapJump {
			continue
		}
		frame, up := pos+int64(k-i), d > 0
		if w.open >= 0 && up != w.up && frame-w.open <= w.longest {
			// Coming back: the wave moves on away from the rail it returned to.
			if after := buf[k+1] - buf[k]; w.against(up, after) && gentle(after, buf[k+2]-buf[k+1]) {
				if w.count == 0 {
					w.at = w.open
				}
				w.count++
			}
			w.open = -1
			continue
		}
		w.open = -1
		if before := buf[k-1] - buf[k-2]; w.against(up, before) && gentle(before, buf[k-2]-buf[k-3]) {
			w.open, w.up = frame, up
		}
	}
}

// against reports whether a step runs against a jump up (or down), as the steps
// before and after an overflow do.
func (w *wrap) against(up bool, step float64) bool {
	if up {
		return step < -w.slope
	}
	return step > w.slope
}

func gentle(a, b float64) bool {
	return math.Abs(a) <= wrapGentle && math.Abs(b) <= wrapGentle
}

func (w *wrap) findings(channel int, rateHz float64) []Finding {
	if w.count == 0 {
		return nil
	}
	return []Finding{found("wrapped-around", float64(w.at)/rateHz, channel,
		reading{value: float64(w.count), limit: 0, unit: "places"},
		"The wave jumps from one rail to the other and back in %s.", plural(w.count, "place", "places"))}
}
