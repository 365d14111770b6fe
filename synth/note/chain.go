package note

import (
	"math"
	"math/rand/v2"

	"tachbench/samples"
	"tachbench/samples/bank"
)

// voice is one grain that sounds.
type voice struct {
	grain int     // index in the layer; -1 silent
	pos   float64 // position in the padded recording, frames
	cycle float64 // phase at which its cycle begins
	gain  float64 // gain at the end of the last tick
	level float64 // amplitude that brings the grain to the layer's level, before the request's own level
}

// chain is the succession of grains on one island of a layer.
type chain struct {
	bank   *bank.Bank
	layer  *bank.Layer
	island bank.Island
	rng    *rand.Rand
	now    voice
	next   voice // the incoming grain during an overlap
	joinAt float64
	joinTo float64 // phases at which the overlap begins and ends
	rho    float64
	joined bool // an overlap is under way
	goOn   int  // the successor that takes over without an overlap; -1 none

	lastUsed []float64 // time in seconds of each grain's last use; -inf never
	recent   [reuseGrains]int
	near     [candidates + 1]int // scratch of choose: what is looked at
	revScale float64             // scratch of choose: difference in ln(RPM) that costs 1
	runLeft  float64             // seconds of unbroken recording still wanted
	used     func(grain int, tS float64)
}

// overlap returns the length of an overlap in cycles at a cycle rate.
func overlap(cycleHz float64) float64 {
	return math.Min(overlapCycles, overlapMaxS*cycleHz)
}

const (
	overlapCycles = 0.22  // share of a cycle that two grains sound together
	overlapMaxS   = 0.010 // and its longest time
)

func newChain(b *bank.Bank, layer, island int, seed uint64) *chain {
	c := &chain{
		bank: b, layer: &b.Layers[layer], island: b.Layers[layer].Islands[island],
		rng: rand.New(rand.NewPCG(seed, 0x6e6f7465+uint64(layer)<<16+uint64(island))),
	}
	c.lastUsed = make([]float64, c.island.To-c.island.From)
	c.stop()
	for i := range c.lastUsed {
		c.lastUsed[i] = math.Inf(-1)
	}
	for i := range c.recent {
		c.recent[i] = -1
	}
	return c
}

// stop silences the chain; it begins anew at the next tick that wants it.
func (c *chain) stop() {
	c.now.grain, c.next.grain, c.goOn = -1, -1, -1
	c.joined = false
}

// begin starts a grain at the phase of this tick, in the middle of a cycle if
// need be. Its gain rises from nothing with the layer's weight.
func (c *chain) begin(st *state) {
	g := c.choose(st, -1)
	c.now = c.voiceFor(g, st, math.Floor(st.phase))
	c.note(g, st)
	c.plan(st)
}

// voiceFor places a grain whose cycle begins at phase cycle.
func (c *chain) voiceFor(g int, st *state, cycle float64) voice {
	gr := &c.layer.Grains[g]
	ratio := (gr.End - gr.Start) * st.cycleHz / st.rateHz
	kappa := readStep(ratio) / ratio
	return voice{
		grain: g,
		cycle: cycle,
		pos:   gr.Start + bank.Pad + (st.phase-cycle)*(gr.End-gr.Start)*kappa,
		level: samples.DBAmplitude(-gr.LocalDB),
	}
}

// readStep limits how fast a grain is read: ratio itself within the
// resampling limit; beyond it the limit, as long as re-spacing can make up
// the rest.
func readStep(ratio float64) float64 {
	step := math.Max(1-bank.ResampleLimit, math.Min(1+bank.ResampleLimit, ratio))
	return math.Max(ratio/(1+bank.RespaceLimit), math.Min(ratio*(1+bank.RespaceLimit), step))
}

// plan sets where the current grain will hand over.
func (c *chain) plan(st *state) {
	ov := overlap(st.cycleHz)
	c.joinAt = c.now.cycle + 1 - ov/2
	c.joinTo = c.now.cycle + 1 + ov/2
}

// tick adds n frames of the chain to the note's block, its layer's gain
// arriving at weight. The phase at the end of the tick is st.phaseEnd.
func (c *chain) tick(st *state, n int, weight float64) {
	switch {
	case c.now.grain < 0:
		c.begin(st)
	case c.goOn >= 0 && st.phase >= c.now.cycle+1:
		gr := &c.layer.Grains[c.goOn]
		c.now.grain, c.now.level = c.goOn, samples.DBAmplitude(-gr.LocalDB)
		c.now.cycle++
		c.goOn = -1
		c.plan(st)
	case c.goOn < 0 && !c.joined && st.phase >= c.joinAt:
		c.join(st)
	}
	// The request's level; voice.level brings a grain's surroundings to 0 dB.
	level := weight * samples.DBAmplitude(c.layer.Level.At(st.lnRPM))
	out := 1.0
	if c.joined {
		var in float64
		x := math.Min(1, (st.phaseEnd-c.joinAt)/(c.joinTo-c.joinAt))
		out, in = joinGains(x, c.rho)
		c.play(st, &c.next, n, in*level*c.next.level)
	}
	c.play(st, &c.now, n, out*level*c.now.level)
	if c.joined && st.phaseEnd >= c.joinTo {
		c.now, c.next.grain, c.joined = c.next, -1, false
		c.plan(st)
	}
}

// play adds n frames of a voice, its gain moving to target.
func (c *chain) play(st *state, v *voice, n int, target float64) {
	gr := &c.layer.Grains[v.grain]
	length := gr.End - gr.Start
	ratio := length * st.cycleHz / st.rateHz
	step := readStep(ratio)
	if step == ratio {
		// Read in step with the phase, so that no rounding ever adds up.
		want := gr.Start + bank.Pad + (st.phaseEnd-v.cycle)*length
		step += math.Max(-1, math.Min(1, want-(v.pos+step*float64(n)))) / float64(n)
	}
	slope := (target - v.gain) / float64(n)
	rec := c.bank.Recordings[gr.Rec].Chans
	if v.pos >= fullTaps && v.pos+step*float64(n)+fullTaps+1 < float64(len(rec[0])) {
		for ch, dst := range st.block {
			readInto(dst[:n], rec[ch], v.pos, step, v.gain, slope)
		}
	} // else beyond the recording: silence
	v.pos += step * float64(n)
	v.gain = target
}

// join chooses the next grain. When it is the cycle that follows in the
// recording, reading simply goes on; otherwise the overlap begins.
func (c *chain) join(st *state) {
	g := c.choose(st, c.now.grain)
	c.note(g, st)
	gr := &c.layer.Grains[c.now.grain]
	nv := c.voiceFor(g, st, c.now.cycle+1)
	if g == gr.Next && math.Abs(nv.pos-c.now.pos) < seamless*(gr.End-gr.Start) {
		c.goOn = g
		return
	}
	c.rho = c.correlation(&nv, st)
	c.next, c.joined = nv, true
}

// seamless is the largest difference in position, in cycles, at which a cycle
// goes on into its successor without an overlap: what two cycles of slightly
// different length differ by an overlap's half before the cut.
const seamless = 0.01

// correlation measures how alike the two sides of an overlap are, on the
// first channel, at the nearest frames.
func (c *chain) correlation(nv *voice, st *state) float64 {
	length := int((c.joinTo - st.phase) / st.cycleHz * st.rateHz)
	a := c.bank.Recordings[c.layer.Grains[c.now.grain].Rec].Chans[0]
	b := c.bank.Recordings[c.layer.Grains[nv.grain].Rec].Chans[0]
	i, j := int(c.now.pos+0.5), int(nv.pos+0.5)
	if i < 0 || j < 0 || i+length > len(a) || j+length > len(b) {
		return 0
	}
	var ab, aa, bb float64
	for k := 0; k < length; k++ {
		x, y := a[i+k], b[j+k]
		ab += x * y
		aa += x * x
		bb += y * y
	}
	if aa == 0 || bb == 0 {
		return 0
	}
	return math.Max(0, math.Min(1, ab/math.Sqrt(aa*bb)))
}
