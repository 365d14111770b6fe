package listen

import (
	"math"

	"tachbench/analysis/sii"
	"tachbench/mixplan/ear"
	"tachbench/mixplan/meet"
	"tachbench/samples"
)

// lookSteps is how many frame steps are measured at a time: 170 ms at 48 kHz.
const lookSteps = 8

// hearing is what arrives at the player's ear: third octaves of the callouts
// and of everything else, and how much of the callout that sounds is
// understood. Frames are those of package meet; windows that reach beyond the
// 170 ms measured at a time are scaled by what they cover, as at the ends of a
// sound there.
type hearing struct {
	chain    *ear.Chain
	analyser *meet.Analyser
	hall     sii.Masker // power per hertz

	step, fill int
	now, last  stretch // being filled; full, to be measured
	measure    int     // what is left to do on last: 2 callouts, 1 all else

	callDB, restDB ear.Levels
	heard          spoken
}

// stretch is what is measured at a time.
type stretch struct {
	call, rest []float64 // mono, lookSteps steps
	marks      [lookSteps]mark
}

// mark says what is spoken in the middle of a frame.
type mark struct {
	lap    *lap
	which  int // callout of the lap; -1 none
	speaks bool
	gainDB float64 // on the callout's spectrum
}

// spoken is the running index of one callout.
type spoken struct {
	lap   *lap
	which int
	sum   float64
	n     int
	done  bool
}

func newHearing(chain *ear.Chain, rateHz int) *hearing {
	h := &hearing{chain: chain, analyser: meet.NewAnalyser(rateHz), hall: chain.Hall.MaskerPower(),
		step: meet.StepFrames(rateHz), callDB: ear.Silence(), restDB: ear.Silence()}
	for _, s := range []*stretch{&h.now, &h.last} {
		s.call, s.rest = make([]float64, lookSteps*h.step), make([]float64, lookSteps*h.step)
	}
	h.heard.which = -1
	return h
}

// room returns how many frames fit into the present step.
func (h *hearing) room() int { return h.step - h.fill%h.step }

// write takes in at most room frames of the callouts and of all together.
func (h *hearing) write(call, all []float64) {
	copy(h.now.call[h.fill:], call)
	rest := h.now.rest[h.fill : h.fill+len(all)]
	for i, v := range all {
		rest[i] = v - call[i]
	}
	h.fill += len(call)
}

// atStep reports whether a step has just been filled.
func (h *hearing) atStep() bool { return h.fill > 0 && h.fill%h.step == 0 }

// mark notes what was spoken in the step just filled. What was filled before
// is measured in the steps after, one half at a time, so that no block has to
// wait for all of it.
func (h *hearing) mark(m mark) {
	h.now.marks[h.fill/h.step-1] = m
	switch h.measure {
	case 2:
		_, h.callDB = h.frames(h.last.call)
		h.measure = 1
	case 1:
		h.judge()
		h.measure = 0
	}
	if h.fill == len(h.now.call) {
		h.now, h.last = h.last, h.now
		h.fill, h.measure = 0, 2
	}
}

// judge measures everything but the callouts, and the callouts against it.
func (h *hearing) judge() {
	rest, restDB := h.frames(h.last.rest)
	h.restDB = restDB
	for i, m := range h.last.marks {
		if m.which < 0 {
			h.heard.done = h.heard.which >= 0
			continue
		}
		if s := &h.heard; s.lap != m.lap || s.which != m.which {
			*s = spoken{lap: m.lap, which: m.which}
		}
		h.heard.done = false
		c := &m.lap.callouts[m.which]
		if !m.speaks || c.silent {
			continue
		}
		masker := h.hall
		if rest != nil {
			for k := range masker {
				masker[k] += rest[i][k] * samples.DBPower(h.chain.GainDB[k]-sii.MaskerBandwidthDB[k])
			}
		}
		e := c.long
		for k := range e {
			e[k] += m.gainDB
		}
		t := c.listener.Hear(e)
		h.heard.sum += t.IndexPower(&masker)
		h.heard.n++
	}
}

// frames measures what was collected; nil for silence.
func (h *hearing) frames(x []float64) ([]ear.Levels, ear.Levels) {
	l := ear.Silence()
	silent := true
	for _, v := range x {
		if v != 0 {
			silent = false
			break
		}
	}
	if silent {
		return nil, l
	}
	frames := h.analyser.Frames(x)
	for k := range l {
		sum := 0.0
		for i := range frames {
			sum += frames[i][k]
		}
		l[k] = samples.PowerDB(sum/float64(len(frames))) + h.chain.GainDB[k]
	}
	return frames, l
}

// into tells a snapshot.
func (h *hearing) into(s *Snapshot) {
	s.CalloutDB, s.RestDB, s.HallDB = h.callDB, h.restDB, h.chain.Hall
	s.Callout, s.SII, s.SIIDone = "", math.NaN(), false
	if k := h.heard; k.which >= 0 {
		s.Callout, s.SIIDone = k.lap.callouts[k.which].path, k.done
		if k.n > 0 {
			s.SII = k.sum / float64(k.n)
		}
	}
}
