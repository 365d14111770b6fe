package defect

import (
	"math"

	"tachbench/samples"
)

// ends watches how the sound begins and stops. The envelope is the largest
// half swing (hi-lo)/2 of any channel in a tick, so an offset does not count.
type ends struct {
	rateHz float64
	peak   float64                // largest magnitude of all
	first  [envelopeClasses]int64 // frame of the first tick that reaches a class or more; -1 never
	last   [envelopeClasses]int64 // frame after the last tick of exactly that class; -1 never
	top    int                    // highest class so far
	head   []headSample           // per channel
	tailD1 [][edgeRing]float64    // per channel: largest step of the last ticks
	x1     []float64              // last sample of each channel
	ticks  int64
	powers [endPowers]float64 // mean powers of the last short stretches
	pn     int64
	acc    float64
	accN   int
}

type headSample struct {
	x0   float64 // first sample
	step float64 // largest step in the 10 ms after it
}

const (
	envelopeClasses = 160 // classes of 1 dB
	envelopeLowDB   = -140
	edgeTicks       = 10 // 10 ms on which the step at an end is judged
	edgeRing        = 16 // a power of two
	endPowers       = 32 // mean powers of 2 ms at the end; a power of two
	endPowerTicks   = 2
)

func newEnds(rateHz float64, channels int) *ends {
	e := &ends{rateHz: rateHz, top: -1, head: make([]headSample, channels), tailD1: make([][edgeRing]float64, channels), x1: make([]float64, channels)}
	for i := range e.first {
		e.first[i], e.last[i] = -1, -1
	}
	return e
}

func envelopeClass(a float64) int {
	if a <= 0 {
		return -1
	}
	return min(max(int(math.Floor(20*math.Log10(a)))-envelopeLowDB, 0), envelopeClasses-1)
}

// process takes the n samples of the chunk at frame pos, whose ticks have just
// been measured. It returns the mean power of the chunk over all channels,
// without offsets.
func (e *ends) process(chans []*channel, views [][]float64, n, tickLen int, pos int64) float64 {
	ticks := (n + tickLen - 1) / tickLen
	var power float64
	for k := range ticks {
		var swing, ac float64
		m := min(tickLen, n-k*tickLen)
		for c, ch := range chans {
			t := ch.at(ch.ticks - int64(ticks-k))
			swing = max(swing, (t.hi-t.lo)/2)
			e.peak = max(e.peak, t.hi, -t.lo)
			ac += t.ac()
			e.edge(c, k, t, views[c])
		}
		ac /= float64(len(chans))
		power += ac * float64(m) / float64(n)
		e.envelope(swing, pos+int64(k*tickLen), m)
		e.acc += ac
		if e.accN++; e.accN == endPowerTicks {
			e.powers[e.pn&(endPowers-1)] = e.acc / endPowerTicks
			e.pn++
			e.acc, e.accN = 0, 0
		}
		e.ticks++
	}
	for c := range views {
		e.x1[c] = views[c][n-1]
	}
	return power
}

func (e *ends) envelope(swing float64, pos int64, m int) {
	c := envelopeClass(swing)
	if c < 0 {
		return
	}
	for e.top < c {
		e.top++
		e.first[e.top] = pos
	}
	e.last[c] = pos + int64(m)
}

func (e *ends) edge(c, k int, t *tick, view []float64) {
	e.tailD1[c][e.ticks&(edgeRing-1)] = t.d1Max
	h := &e.head[c]
	switch {
	case e.ticks == 0:
		// The step onto the first sample is not one of those after it.
		h.x0 = view[0]
		for i := 1; i < int(t.n); i++ {
			h.step = max(h.step, math.Abs(view[i]-view[i-1]))
		}
		e.tailD1[c][0] = h.step
	case e.ticks < edgeTicks:
		h.step = max(h.step, t.d1Max)
	}
}

// reach returns the first frame at which the envelope reaches level db, and the
// frame after the last one; false if it never does.
func (e *ends) reach(db float64) (first, last int64, ok bool) {
	c := min(max(int(math.Ceil(db))-envelopeLowDB, 0), envelopeClasses-1)
	if c > e.top {
		return 0, 0, false
	}
	first = e.first[c]
	for ; c < envelopeClasses; c++ {
		last = max(last, e.last[c])
	}
	return first, last, true
}

// recent returns the mean power of the stretches from..to (exclusive) before
// the end, in steps of 2 ms, 0 the newest.
func (e *ends) recent(from, to int) float64 {
	var sum float64
	for i := from; i < to; i++ {
		sum += e.powers[(e.pn-1-int64(i))&(endPowers-1)]
	}
	return sum / float64(to-from)
}

// endClicks judges the first and the last sample of each channel.
func (s *Scan) endClicks() []Finding {
	var out []Finding
	limit, ratio := s.opt.Limit("edge_step"), s.opt.Limit("edge_ratio")
	if s.opt.WholeLoop {
		return nil
	}
	looped := len(s.info.Loops) > 0
	for c := range s.chans {
		h := s.ends.head[c]
		step := 0.0
		for k := range min(int64(edgeTicks), s.ends.ticks) {
			step = max(step, s.ends.tailD1[c][(s.ends.ticks-1-k)&(edgeRing-1)])
		}
		if s.opt.Kind == Music && math.Abs(s.ends.x1[c]-h.x0) <= ratio*max(step, h.step) {
			continue // its end leads into its start: a loop without loop points
		}
		if v := math.Abs(h.x0); v > limit && v > ratio*h.step {
			out = append(out, found("click-at-start", 0, c, reading{value: v, limit: limit, unit: "full scale"},
				"The first sample is at %.1f dBFS already.", samples.AmplitudeDB(v)))
		}
		if v := math.Abs(s.ends.x1[c]); !looped && v > limit && v > ratio*step {
			out = append(out, found("click-at-end", s.seconds(s.written-1), c, reading{value: v, limit: limit, unit: "full scale"},
				"The last sample is still at %.1f dBFS.", samples.AmplitudeDB(v)))
		}
	}
	return out
}

const (
	cutNear     = 1   // stretches of 2 ms right at the end
	cutLast     = 5   // the last 10 ms
	cutPrevious = 10  // and the 10 ms before them
	cutFadeDB   = 9.0 // so much fall within 10 ms is a fade
)

// silenceFloorDB: what is under this is silence, whatever the active level.
const silenceFloorDB = -66.0

// endFindings judges the silence at both ends and the tail.
func (s *Scan) endFindings() []Finding {
	var out []Finding
	e := s.ends
	active := s.level.active()
	// Peaks stand above the mean power; 10 dB is usual for speech and effects.
	quiet := max(active+peakOverActiveDB-s.opt.Limit("silence_below_db"), silenceFloorDB)
	if floor, ok := s.level.floor(); ok {
		quiet = max(quiet, min(floor+floorPeakDB, active-floorPeakDB))
	}
	first, last, ok := e.reach(quiet)
	if !ok {
		return nil
	}
	if limit := s.opt.Limit("lead_s"); s.opt.applies("starts-late") && s.seconds(first) > limit {
		lead := s.seconds(first)
		out = append(out, found("starts-late", 0, allChannels, reading{value: lead, limit: limit, unit: "s"},
			"It begins with %s of silence.", seconds(lead)))
	}
	if limit := s.opt.Limit("tail_s"); s.opt.applies("dead-tail") && s.seconds(s.written-last) > limit {
		tail := s.seconds(s.written - last)
		out = append(out, found("dead-tail", s.seconds(last), allChannels, reading{value: tail, limit: limit, unit: "s"},
			"It ends with %s of silence.", seconds(tail)))
	}
	if s.opt.applies("cut-off-tail") && !s.opt.WholeLoop && len(s.info.Loops) == 0 && e.pn > cutPrevious {
		end, wide, before := samples.PowerDB(e.recent(0, cutNear)), samples.PowerDB(e.recent(0, cutLast)), samples.PowerDB(e.recent(cutLast, cutPrevious))
		limit := s.opt.Limit("cut_off_below_db")
		if wide > active-limit && wide > before-cutFadeDB && end > wide-cutFadeDB {
			out = append(out, found("cut-off-tail", s.seconds(s.written-1), allChannels, reading{value: active - wide, limit: limit, unit: "dB"},
				"The last 10 ms are %s, and do not fade.", below(active-wide)))
		}
	}
	return out
}

const (
	peakOverActiveDB = 10
	floorPeakDB      = 14 // peaks of noise over its mean power
)

// below says how far a level is under the active level.
func below(db float64) string {
	if db < 1 {
		return "as loud as the sound itself"
	}
	return plural(int64(math.Round(db)), "dB under the level of the sound", "dB under the level of the sound")
}
